// Ratios of volts in decibels.
#pragma once

#include <algorithm>
#include <cmath>

namespace assay::cli {

/// Of a ratio above zero.
inline double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// Of a ratio that may be zero: never below -240 dB.
inline double floored_decibels(double ratio) {
    return decibels(std::max(ratio, 1e-12));
}

}  // namespace assay::cli
