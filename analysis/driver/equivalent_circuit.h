// A fitted driver as a network of resistors, inductors and a capacitor, for any circuit simulator.
//
// Cone: R.H. Small, JAES 20(5), 1972 (from memory): across one another Res = Re Qms/Qes,
// Cmes = Qes/(ws Re), Lces = Re/(ws Qes). Coil powers of frequency and suspension creep become ladders
// (rl_ladder.h).
#pragma once

#include <complex>
#include <optional>

#include "analysis/driver/driver_model.h"
#include "analysis/driver/rl_ladder.h"

namespace assay::analysis {

struct EquivalentCircuit {
    double re_ohm = 0.0;
    double coil_series_h = 0.0;             // an inductor in series; 0: none
    RlLadder coil{};                        // in series with it
    std::optional<double> coil_across_h{};  // an inductor across the coil's ladder
    double cone_f = 0.0;                    // Cmes, across the two below
    std::optional<double> cone_loss_ohm{};  // viscous loss; none: all loss lies in the suspension
    RlLadder suspension{};                  // Lces alone, or with the cells of the creep
    double worst_error = 0.0;               // largest |Z/Zfitted - 1| in the band
};

/// The circuit of the driver in free air, from one frequency to the other (1 Hz to 20 kHz unless the fit says
/// otherwise). Its `worst_error` is computed from its parts on a grid of 100 points a decade.
EquivalentCircuit equivalent_circuit(const FittedDriver& driver, double from_hz, double to_hz);

std::complex<double> impedance_at(const EquivalentCircuit& circuit, double frequency_hz);

}  // namespace assay::analysis
