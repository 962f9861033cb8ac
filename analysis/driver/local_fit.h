// A short stretch of an impedance curve as a smooth function, so that an extremum or a value is read between
// the points and over the noise.
//
// Rational: z = (p0 + p1 u + p2 u^2) / (1 + q u) with u = f / fc - fc / f and complex p, q: a resonance
// (Res / (1 + j Q u), the exact form of a mass, a compliance and a loss in parallel) on a background that
// changes linearly. Solved by least squares with the weights of Sanathanan and Koerner, IEEE Trans. Automatic
// Control 8, 1963. Polynomial: a cubic in u.
#pragma once

#include <array>
#include <complex>
#include <span>

#include "analysis/driver/impedance_curve.h"

namespace assay::analysis {

enum class LocalShape { rational, cubic };

struct LocalFit {
    double centre_hz = 1.0;
    std::array<std::complex<double>, 4> numerator{};  // by rising power of u
    std::complex<double> denominator{};               // of u
    double residual_ohm2 =
        0.0;  // mean square of what is left, a part (real or imaginary), corrected for the unknowns
    double lack_of_fit = 1.0;  // the same over the points' own variance; 1 where that is not known

    std::complex<double> at(double frequency_hz) const;
};

inline constexpr std::size_t fewest_points_of_local_fit = 6;

/// At least that many points, by rising frequency.
LocalFit fit_locally(std::span<const ImpedancePoint> points, LocalShape shape);

struct Extremum {
    double frequency_hz = 0.0;
    double magnitude_ohm = 0.0;
};

/// Highest or lowest magnitude of the fit between two frequencies.
Extremum extremum_of(const LocalFit& fit, double from_hz, double to_hz, bool highest);

}  // namespace assay::analysis
