#include "analysis/uncertainty/correlated.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

namespace assay::analysis {

std::vector<Quantity> correlated(const std::vector<double>& values, const std::vector<std::string>& units,
                                 const Eigen::MatrixXd& covariance, const std::string& id) {
    // By its axes rather than by a triangle: a covariance of rank below full is allowed.
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> axes(covariance);
    std::vector<Quantity> quantities;
    for (std::size_t i = 0; i < values.size(); ++i) {
        Quantity quantity{values[i], units[i], {}};
        for (Eigen::Index k = 0; k < covariance.cols(); ++k) {
            quantity.contributions[id + ":" + std::to_string(k + 1)] =
                axes.eigenvectors()(static_cast<Eigen::Index>(i), k) *
                std::sqrt(std::max(axes.eigenvalues()[k], 0.0));
        }
        quantities.push_back(std::move(quantity));
    }
    return quantities;
}

double correlation(const Quantity& a, const Quantity& b) {
    double covariance = 0.0;
    for (const auto& [source, contribution] : a.contributions) {
        const auto other = b.contributions.find(source);
        if (other != b.contributions.end()) covariance += contribution * other->second;
    }
    const double product = a.standard_uncertainty() * b.standard_uncertainty();
    return product > 0.0 ? covariance / product : 0.0;
}

}  // namespace assay::analysis
