// A whole turn, in radians.
#pragma once

#include <numbers>

namespace assay::analysis {

inline constexpr double two_pi = 2.0 * std::numbers::pi;

}  // namespace assay::analysis
