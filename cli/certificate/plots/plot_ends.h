// The least and the largest that an axis must hold.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>

namespace assay::cli {

/// Nothing held yet: low is infinite, and high below it. What is not finite is passed over.
struct PlotEnds {
    double low = std::numeric_limits<double>::infinity();
    double high = -std::numeric_limits<double>::infinity();
    void hold(double value) {
        if (!std::isfinite(value)) return;
        low = std::min(low, value);
        high = std::max(high, value);
    }
};

}  // namespace assay::cli
