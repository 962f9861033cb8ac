// A loudspeaker driver: its impedance and the motion of its cone at one frequency.
//
// Electrical: Re, a coil that may be plain (Le), lossy by eddy currents (L2 with R2 across it) and lossy by a
// fractional power K (j w)^n; the parts stand in series, those that are zero are not there.
// Mechanical, seen by the cone: j w (Mms + added mass) + Rms + 1 / (j w C), C = Cms (1 - lambda log10(j w /
// ws)) with ws from Cms and Mms: creep after M. Knudsen and J. G. Jensen, "Low-frequency loudspeaker models
// that include suspension creep" (J. Audio Eng. Soc. 41, 1993), from memory. Cms grows with the RMS
// displacement. Closed box: the air's stiffness gamma p Sd^2 / V, in parallel (as a flow) with a leak, a
// round hole through an 18 mm wall with the mass of its air and Poiseuille's resistance.
#pragma once

#include <complex>

#include "capture/simulated/settings.h"

namespace assay::capture {

/// What sits on the cone and behind it.
struct DriverMount {
    double added_mass_kg = 0.0;
    double box_m3 = 0.0;  // 0: free air
    double displacement_rms_m = 0.0;
};

/// Between the terminals, ohm. `omega` is 2 pi f; Re alone at zero.
std::complex<double> driver_impedance(const SimulatedDriver& driver, const DriverMount& mount, double omega);
/// Metres of cone for one volt at the terminals.
std::complex<double> driver_displacement(const SimulatedDriver& driver, const DriverMount& mount,
                                         double omega);

}  // namespace assay::capture
