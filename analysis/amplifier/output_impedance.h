// The impedance that an output has within, from its voltage with and without a known load.
//
// Two voltages of one source, V0 without and V with the load Z_L: Z = Z_L (V0 / V - 1) (voltage divider,
// textbook). An error e of the ratio becomes e Z_L (1 + Z / Z_L): small impedances need steady gain.
#pragma once

#include <complex>

namespace assay::analysis {

/// Resistance and inductance of the load, as a phasor.
std::complex<double> load_impedance(double resistance_ohm, double inductance_h, double frequency_hz);

std::complex<double> output_impedance(std::complex<double> unloaded, std::complex<double> loaded,
                                      std::complex<double> load_ohm);

}  // namespace assay::analysis
