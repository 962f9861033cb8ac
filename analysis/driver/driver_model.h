// A driver as its terminals show it: Z(f) = Re + coil(f) + cone(f). What the fit finds, what a plot draws and
// what a circuit for a simulator is made of.
#pragma once

#include <complex>

#include "analysis/driver/coil.h"
#include "analysis/driver/motional.h"

namespace assay::analysis {

struct FittedDriver {
    double re_ohm = 0.0;
    Coil coil{};
    Cone cone{};

    double qts() const { return cone.qms * cone.qes / (cone.qms + cone.qes); }
    /// Height of the motional peak.
    double res_ohm() const { return re_ohm * cone.qms / cone.qes; }
};

/// Ohm, at the terminals, in free air.
std::complex<double> impedance_at(const FittedDriver& driver, double frequency_hz);
/// The same with a mass on the cone or a box behind it.
std::complex<double> impedance_at(const FittedDriver& driver, const Loading& loading, double frequency_hz);

}  // namespace assay::analysis
