#include "analysis/uncertainty/rounded_text.h"

#include <array>
#include <cmath>
#include <cstdio>

namespace assay::analysis {

std::string rounded_text(double value, int digits) {
    std::array<char, 64> text{};
    const double top = std::pow(10.0, digits);
    // %g would write 1250 Hz in three digits as 1.25e+03.
    if (std::abs(value) >= top * (1.0 - 0.5 / top) && std::abs(value) < 1e15) {
        const double step = std::pow(10.0, std::floor(std::log10(std::abs(value))) + 1.0 - digits);
        std::snprintf(text.data(), text.size(), "%.0f", std::round(value / step) * step);
    } else {
        std::snprintf(text.data(), text.size(), "%.*g", digits, value);
    }
    return text.data();
}

}  // namespace assay::analysis
