#include "analysis/driver/local_fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

double distance(double frequency_hz, double centre_hz) {
    return frequency_hz / centre_hz - centre_hz / frequency_hz;
}

}  // namespace

Complex LocalFit::at(double frequency_hz) const {
    const double u = distance(frequency_hz, centre_hz);
    const Complex above = numerator[0] + u * (numerator[1] + u * (numerator[2] + u * numerator[3]));
    return above / (1.0 + denominator * u);
}

LocalFit fit_locally(std::span<const ImpedancePoint> points, LocalShape shape) {
    LocalFit fit;
    const auto count = static_cast<Eigen::Index>(points.size());
    fit.centre_hz = std::sqrt(points.front().frequency_hz * points.back().frequency_hz);
    const double span = std::max(std::abs(distance(points.back().frequency_hz, fit.centre_hz)), 1e-9);
    const bool rational = shape == LocalShape::rational;
    constexpr Eigen::Index unknowns = 4;
    const int passes = rational ? 4 : 1;
    Eigen::VectorXd weight = Eigen::VectorXd::Ones(count);
    Eigen::Vector4cd solution = Eigen::Vector4cd::Zero();
    for (int pass = 0; pass < passes; ++pass) {
        Eigen::MatrixXcd rows(count, unknowns);
        Eigen::VectorXcd right(count);
        for (Eigen::Index i = 0; i < count; ++i) {
            const ImpedancePoint& point = points[static_cast<std::size_t>(i)];
            const double u = distance(point.frequency_hz, fit.centre_hz) / span;
            const Complex last = rational ? -u * point.z_ohm : Complex(u * u * u);
            rows.row(i) << weight[i], weight[i] * u, weight[i] * u * u, weight[i] * last;
            right[i] = weight[i] * point.z_ohm;
        }
        solution = rows.householderQr().solve(right);
        if (!rational) break;
        for (Eigen::Index i = 0; i < count; ++i) {
            const double u = distance(points[static_cast<std::size_t>(i)].frequency_hz, fit.centre_hz) / span;
            weight[i] = 1.0 / std::max(std::abs(1.0 + solution[3] * u), 1e-3);
        }
    }
    fit.numerator = {solution[0], solution[1] / span, solution[2] / (span * span),
                     rational ? Complex{} : solution[3] / (span * span * span)};
    fit.denominator = rational ? solution[3] / span : Complex{};

    double left = 0.0;
    double own = 0.0;
    for (const ImpedancePoint& point : points) {
        left += std::norm(point.z_ohm - fit.at(point.frequency_hz));
        own += 2.0 * point.variance_ohm2;
    }
    const double freedom = std::max(static_cast<double>(count - unknowns), 1.0);
    fit.residual_ohm2 = 0.5 * left / freedom;
    const double own_part = 0.5 * own / static_cast<double>(count);
    fit.lack_of_fit = own_part > 0.0 ? fit.residual_ohm2 / own_part : 1.0;
    return fit;
}

Extremum extremum_of(const LocalFit& fit, double from_hz, double to_hz, bool highest) {
    const double sign = highest ? 1.0 : -1.0;
    const auto height = [&](double log_f) { return sign * std::abs(fit.at(std::exp(log_f))); };
    constexpr int grid = 128;
    const double from = std::log(from_hz);
    const double step = (std::log(to_hz) - from) / grid;
    int best = 0;
    for (int i = 1; i <= grid; ++i) {
        if (height(from + step * i) > height(from + step * best)) best = i;
    }
    double low = from + step * std::max(best - 1, 0);
    double high = from + step * std::min(best + 1, grid);
    // Golden section down to where the height is flat within rounding, then the vertex of a parabola, whose
    // width is large against rounding.
    constexpr double golden = 0.6180339887498949;
    for (int i = 0; i < 24; ++i) {
        const double left = high - golden * (high - low);
        const double right = low + golden * (high - low);
        if (height(left) > height(right)) {
            high = right;
        } else {
            low = left;
        }
    }
    const double middle = 0.5 * (low + high);
    const double wing = 0.25 * step;
    const double left = height(middle - wing);
    const double centre = height(middle);
    const double right = height(middle + wing);
    const double bend = left - 2.0 * centre + right;
    const double shift = bend < 0.0 ? std::clamp(0.5 * wing * (left - right) / bend, -wing, wing) : 0.0;
    const double at = std::clamp(middle + shift, from, from + step * grid);
    return {std::exp(at), std::abs(fit.at(std::exp(at)))};
}

}  // namespace assay::analysis
