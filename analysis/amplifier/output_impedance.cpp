#include "analysis/amplifier/output_impedance.h"

#include "analysis/units.h"

namespace assay::analysis {

std::complex<double> load_impedance(double resistance_ohm, double inductance_h, double frequency_hz) {
    return {resistance_ohm, two_pi * frequency_hz * inductance_h};
}

std::complex<double> output_impedance(std::complex<double> unloaded, std::complex<double> loaded,
                                      std::complex<double> load_ohm) {
    return load_ohm * (unloaded / loaded - 1.0);
}

}  // namespace assay::analysis
