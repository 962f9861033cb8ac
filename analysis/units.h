// Decibels, degrees, a whole turn: plain arithmetic, so that each stands in one place. Ratios are of volts or
// other amplitudes; those of powers say so.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

namespace assay::analysis {

/// Of a ratio above zero.
inline double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// Of a ratio of powers above zero.
inline double power_decibels(double ratio) {
    return 10.0 * std::log10(ratio);
}

/// Of a ratio that may be zero: never below that of `least`, -240 dB where none is given.
inline double floored_decibels(double ratio, double least = 1e-12) {
    return decibels(std::max(ratio, least));
}

inline double ratio_from_decibels(double db) {
    return std::pow(10.0, db / 20.0);
}

inline double power_ratio_from_decibels(double db) {
    return std::pow(10.0, db / 10.0);
}

/// A whole turn, in radians.
inline constexpr double two_pi = 2.0 * std::numbers::pi;

/// One radian, in degrees.
inline constexpr double degrees = 180.0 / std::numbers::pi;

/// One degree, in radians.
inline constexpr double radians = std::numbers::pi / 180.0;

}  // namespace assay::analysis
