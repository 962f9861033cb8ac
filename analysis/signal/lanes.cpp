#include "analysis/signal/lanes.h"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace assay::analysis {

ASSAY_WIDE double lane_sum(std::span<const double> x) {
    double sums[lanes] = {};
    std::size_t n = 0;
    for (; n + lanes <= x.size(); n += lanes) {
        for (std::size_t l = 0; l < lanes; ++l) sums[l] += x[n + l];
    }
    for (; n < x.size(); ++n) sums[n % lanes] += x[n];
    return together(sums);
}

ASSAY_WIDE double lane_dot(std::span<const double> x, std::span<const double> y) {
    double sums[lanes] = {};
    std::size_t n = 0;
    for (; n + lanes <= x.size(); n += lanes) {
        for (std::size_t l = 0; l < lanes; ++l) sums[l] += x[n + l] * y[n + l];
    }
    for (; n < x.size(); ++n) sums[n % lanes] += x[n] * y[n];
    return together(sums);
}

ASSAY_WIDE double lane_peak(std::span<const double> x) {
    double peaks[lanes] = {};
    std::size_t n = 0;
    const auto take = [](double& peak, double value) {
        const double size = std::abs(value);
        peak = size > peak ? size : peak;
    };
    for (; n + lanes <= x.size(); n += lanes) {
        for (std::size_t l = 0; l < lanes; ++l) take(peaks[l], x[n + l]);
    }
    for (; n < x.size(); ++n) take(peaks[0], x[n]);
    return *std::max_element(std::begin(peaks), std::end(peaks));
}

ASSAY_WIDE std::complex<double> lane_dot(std::span<const double> x, std::span<const double> re,
                                         std::span<const double> im) {
    double real[lanes] = {};
    double imaginary[lanes] = {};
    std::size_t n = 0;
    for (; n + lanes <= x.size(); n += lanes) {
        for (std::size_t l = 0; l < lanes; ++l) {
            real[l] += x[n + l] * re[n + l];
            imaginary[l] += x[n + l] * im[n + l];
        }
    }
    for (; n < x.size(); ++n) {
        real[n % lanes] += x[n] * re[n];
        imaginary[n % lanes] += x[n] * im[n];
    }
    return {together(real), together(imaginary)};
}

}  // namespace assay::analysis
