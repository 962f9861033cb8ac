#include "analysis/driver/fit_weights.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace assay::analysis {

namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double least_floor = 1e-7;

/// Square of the misfit, real and imaginary part together, with the point's own variance and magnitude.
struct PointMiss {
    double square = 0.0;
    double variance = 0.0;
    double magnitude_square = 0.0;
};

std::vector<PointMiss> point_misses(const FitInputs& inputs, const VectorXd& off) {
    std::vector<PointMiss> all;
    Index row = 0;
    for (const LoadedCurve& taken : inputs.curves) {
        for (const ImpedancePoint& point : taken.curve.points) {
            all.push_back({off.segment<2>(row).squaredNorm(), point.variance_ohm2, std::norm(point.z_ohm)});
            row += 2;
        }
    }
    return all;
}

/// The floor at which the mean weighted square is one: the larger the misfit, the larger.
double floor_of(const std::vector<PointMiss>& all, Index parameters) {
    const double freedom =
        std::max(2.0 * static_cast<double>(all.size()) - static_cast<double>(parameters), 1.0);
    const auto excess = [&](double floor) {
        double sum = 0.0;
        for (const PointMiss& miss : all)
            sum += miss.square / (miss.variance + floor * floor * miss.magnitude_square + 1e-300);
        return sum / freedom - 1.0;
    };
    double low = least_floor;
    double high = 1.0;
    if (excess(low) <= 0.0) return low;
    if (excess(high) >= 0.0) return high;
    for (int i = 0; i < 60; ++i) {
        const double middle = std::sqrt(low * high);
        (excess(middle) > 0.0 ? low : high) = middle;
    }
    return std::sqrt(low * high);
}

/// Sum over all curves of the products of residuals so many points apart.
double lagged(const FitInputs& inputs, const VectorXd& residual, Index lag) {
    double sum = 0.0;
    Index row = 0;
    for (const LoadedCurve& taken : inputs.curves) {
        const Index rows = 2 * static_cast<Index>(taken.curve.points.size());
        if (rows > 8 * lag) {
            const Index pairs = rows - 2 * lag;
            sum += residual.segment(row, pairs).dot(residual.segment(row + 2 * lag, pairs));
        }
        row += rows;
    }
    return sum;
}

/// Integrated autocorrelation of the weighted residuals along each curve, up to where it first vanishes.
double correlation_length_of(const FitInputs& inputs, const VectorXd& residual) {
    const double own = lagged(inputs, residual, 0);
    double length = 1.0;
    for (Index lag = 1; 8 * lag < residual.size(); ++lag) {
        const double correlation = own > 0.0 ? lagged(inputs, residual, lag) / own : 0.0;
        // White noise of some hundred points reaches 0.05 by chance.
        if (correlation < 0.1) break;
        length += 2.0 * correlation;
    }
    return length;
}

}  // namespace

Index row_count(const FitLayout& layout, const FitInputs& inputs) {
    Index rows = (inputs.meter ? 1 : 0) + (layout.spring >= 0 ? 1 : 0);
    for (const LoadedCurve& taken : inputs.curves) rows += 2 * static_cast<Index>(taken.curve.points.size());
    return rows;
}

std::map<std::string, VectorXd> systematic_rows(const FitInputs& inputs, Index rows) {
    std::map<std::string, VectorXd> by_source;
    Index row = 0;
    for (const LoadedCurve& taken : inputs.curves) {
        for (const auto& [source, changes] : taken.curve.systematic) {
            VectorXd& change = by_source.try_emplace(source, VectorXd::Zero(rows)).first->second;
            for (std::size_t i = 0; i < changes.size(); ++i) {
                change[row + 2 * static_cast<Index>(i)] = changes[i].real();
                change[row + 2 * static_cast<Index>(i) + 1] = changes[i].imag();
            }
        }
        row += 2 * static_cast<Index>(taken.curve.points.size());
    }
    return by_source;
}

VectorXd fit_weights(const FitLayout& layout, const FitInputs& inputs, double floor,
                     double correlation_length) {
    VectorXd weights(row_count(layout, inputs));
    Index row = 0;
    for (const LoadedCurve& taken : inputs.curves) {
        for (const ImpedancePoint& point : taken.curve.points) {
            const double weight =
                1.0 / std::sqrt(point.variance_ohm2 + floor * floor * std::norm(point.z_ohm));
            weights[row++] = weight;
            weights[row++] = weight;
        }
    }
    // Points that hang together claim too much together; what else is known must not lose by that.
    const double rest = std::sqrt(correlation_length);
    if (inputs.meter) weights[row++] = rest * inputs.meter->ohm / inputs.meter->standard_uncertainty_ohm;
    if (layout.spring >= 0) weights[row] = rest / inputs.air_spring_doubt;
    return weights;
}

UnexplainedResidual unexplained_residual(const FitMiss& miss, const VectorXd& weights,
                                         double correlation_length) {
    UnexplainedResidual left{weights.cwiseProduct(miss.off)};
    const Index causes = miss.systematic.cols();
    if (causes == 0) return left;
    const MatrixXd jacobian = weights.asDiagonal() * miss.jacobian;
    MatrixXd normal = jacobian.transpose() * jacobian;
    normal.diagonal().array() += 1.0;  // as in fit_driver
    const Eigen::LDLT<MatrixXd> inverse(normal);
    // What the fit would take up of each cause, and what these weights would still move, is no residual.
    MatrixXd systematic = weights.asDiagonal() * miss.systematic;
    systematic -= jacobian * inverse.solve(jacobian.transpose() * systematic);
    left.rows -= jacobian * inverse.solve(jacobian.transpose() * left.rows);
    MatrixXd known = systematic.transpose() * systematic;
    // What is known beforehand of the causes weighs against the points as the meter does.
    known.diagonal().array() += correlation_length;
    VectorXd size = known.ldlt().solve(systematic.transpose() * left.rows);
    // A cause far beyond its own doubt is no explanation: it hides a model that does not fit.
    const double most = 3.0 + std::sqrt(static_cast<double>(causes));
    if (size.norm() > most) size *= most / size.norm();
    left.rows -= systematic * size;
    left.causes_square = size.squaredNorm();
    return left;
}

ModelError model_error(const FitLayout& layout, const FitInputs& inputs, const FitMiss& miss,
                       const VectorXd& weights, const ModelError& before) {
    if (miss.systematic.cols() == 0)
        return {floor_of(point_misses(inputs, miss.off), layout.count),
                correlation_length_of(inputs, weights.cwiseProduct(miss.off))};
    // A floor far too high hides the causes behind it: it comes down together with what they explain.
    ModelError error = before;
    for (int i = 0; i < 12; ++i) {
        const VectorXd by = fit_weights(layout, inputs, error.floor, error.correlation_length);
        const VectorXd left = unexplained_residual(miss, by, error.correlation_length).rows;
        const double floor = floor_of(point_misses(inputs, left.cwiseQuotient(by)), layout.count);
        const bool settled = std::abs(std::log(floor / error.floor)) < 0.01;
        error = {floor, correlation_length_of(inputs, left)};
        if (settled) break;
    }
    return error;
}

}  // namespace assay::analysis
