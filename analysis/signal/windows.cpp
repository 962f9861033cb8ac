#include "analysis/signal/windows.h"

#include <cmath>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

double angle(std::size_t n, std::size_t count) {
    return two_pi * (static_cast<double>(n) + 0.5) / static_cast<double>(count);
}

}  // namespace

std::vector<double> hann_window(std::size_t count) {
    std::vector<double> window(count);
    for (std::size_t n = 0; n < count; ++n) window[n] = hann_at(std::cos(angle(n, count)));
    return window;
}

}  // namespace assay::analysis
