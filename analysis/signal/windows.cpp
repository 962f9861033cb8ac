#include "analysis/signal/windows.h"

#include <cmath>
#include <numbers>

namespace assay::analysis {

namespace {

double angle(std::size_t n, std::size_t count) {
    return 2.0 * std::numbers::pi * (static_cast<double>(n) + 0.5) / static_cast<double>(count);
}

}  // namespace

std::vector<double> hann_window(std::size_t count) {
    std::vector<double> window(count);
    for (std::size_t n = 0; n < count; ++n) window[n] = 0.5 - 0.5 * std::cos(angle(n, count));
    return window;
}

std::vector<double> blackman_harris_window(std::size_t count) {
    std::vector<double> window(count);
    for (std::size_t n = 0; n < count; ++n) {
        const double cosine = std::cos(angle(n, count));
        // The multiples of the angle by Chebyshev's recurrence: one cosine a sample instead of three.
        const double twice = 2.0 * cosine * cosine - 1.0;
        const double thrice = 2.0 * cosine * twice - cosine;
        window[n] = 0.35875 - 0.48829 * cosine + 0.14128 * twice - 0.01168 * thrice;
    }
    return window;
}

}  // namespace assay::analysis
