#include "analysis/signal/monotone_curve.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace assay::analysis {

namespace {

double end_slope(double h0, double h1, double d0, double d1) {
    const double slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if (slope * d0 <= 0.0) return 0.0;
    if (d0 * d1 < 0.0 && std::abs(slope) > 3.0 * std::abs(d0)) return 3.0 * d0;
    return slope;
}

}  // namespace

MonotoneCurve::MonotoneCurve(std::vector<double> x, std::vector<double> y)
    : x_(std::move(x)), y_(std::move(y)) {
    const std::size_t count = x_.size();
    std::vector<double> h(count - 1);
    std::vector<double> d(count - 1);
    for (std::size_t k = 0; k + 1 < count; ++k) {
        h[k] = x_[k + 1] - x_[k];
        d[k] = (y_[k + 1] - y_[k]) / h[k];
    }
    slopes_.assign(count, d[0]);
    if (count == 2) return;
    for (std::size_t k = 1; k + 1 < count; ++k) {
        const double w1 = 2.0 * h[k] + h[k - 1];
        const double w2 = h[k] + 2.0 * h[k - 1];
        slopes_[k] = d[k - 1] * d[k] <= 0.0 ? 0.0 : (w1 + w2) / (w1 / d[k - 1] + w2 / d[k]);
    }
    slopes_.front() = end_slope(h[0], h[1], d[0], d[1]);
    slopes_.back() = end_slope(h[count - 2], h[count - 3], d[count - 2], d[count - 3]);
}

double MonotoneCurve::at(double x) const {
    if (x <= x_.front()) return y_.front();
    if (x >= x_.back()) return y_.back();
    const auto above = std::upper_bound(x_.begin(), x_.end(), x);
    const auto k = static_cast<std::size_t>(above - x_.begin()) - 1;
    const double h = x_[k + 1] - x_[k];
    const double t = (x - x_[k]) / h;
    const double u = 1.0 - t;
    return (1.0 + 2.0 * t) * u * u * y_[k] + t * u * u * h * slopes_[k] +
           t * t * (3.0 - 2.0 * t) * y_[k + 1] - t * t * u * h * slopes_[k + 1];
}

}  // namespace assay::analysis
