// What a level in decibels is as a ratio, and a whole turn: plain arithmetic that stands in one place.
#pragma once

#include <cmath>
#include <numbers>

namespace assay::capture {

/// Of volts or of sample values.
inline double ratio_from_decibels(double db) {
    return std::pow(10.0, db / 20.0);
}

/// Of powers.
inline double power_ratio_from_decibels(double db) {
    return std::pow(10.0, db / 10.0);
}

/// In radians.
inline constexpr double two_pi = 2.0 * std::numbers::pi;

}  // namespace assay::capture
