// Inputs that were measured together and hang together, as quantities: their covariance is split into
// independent sources that they share, so that everything computed from them keeps the correlation.
//
// Source: JCGM 100:2008 (GUM), 5.2 and F.1.2; the split is along the axes of the covariance.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

/// One quantity for each value, with sources "ID:1", "ID:2", ... The covariance must be positive
/// semidefinite.
std::vector<Quantity> correlated(const std::vector<double>& values, const std::vector<std::string>& units,
                                 const Eigen::MatrixXd& covariance, const std::string& id);

/// Correlation of the errors of two quantities, -1 to 1; 0 when one of them is exact.
double correlation(const Quantity& a, const Quantity& b);

}  // namespace assay::analysis
