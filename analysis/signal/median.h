// The middle value.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace assay::analysis {

/// The upper middle where the count is even; 0 for none.
inline double median(std::vector<double> values) {
    if (values.empty()) return 0.0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace assay::analysis
