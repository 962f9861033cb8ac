// What the rows of a driver's fit weigh, and how far the model misses the data once everything is taken out
// that is known to be able to move them.
//
// A bench's systematic causes (scales of the inputs, series resistor, lead) bend a whole curve smoothly. What
// they leave after the fit is no fault of the model: its part along each cause, as much as the cause's own
// standard uncertainty makes likely, is taken out before the residual is judged. That is the residual of
// generalised least squares (A. C. Aitken, Proc. R. Soc. Edinburgh 55, 1935, from memory) with the causes'
// covariance beside the points' own.
//
// Range: causes small enough that they act linearly; what their squares do must lie below the scatter.
#pragma once

#include <Eigen/Core>
#include <map>
#include <string>

#include "analysis/driver/fit.h"

namespace assay::analysis {

/// Rows of the fit: real and imaginary part of each point, then the meter's, then the air spring's.
Eigen::Index row_count(const FitLayout& layout, const FitInputs& inputs);

/// By source: what one standard uncertainty of it does to each row, in ohm; zero where a curve has none.
std::map<std::string, Eigen::VectorXd> systematic_rows(const FitInputs& inputs, Eigen::Index rows);

/// One over the standard deviation of each row.
Eigen::VectorXd fit_weights(const FitLayout& layout, const FitInputs& inputs, double floor,
                            double correlation_length);

/// Model less data at the best place, not weighted, and its derivatives by the parameters.
struct FitMiss {
    Eigen::VectorXd off{};
    Eigen::MatrixXd jacobian{};    // not looked at where there is no cause
    Eigen::MatrixXd systematic{};  // a column a cause
};

/// The weighted residual without its systematic part.
struct UnexplainedResidual {
    Eigen::VectorXd rows{};
    double causes_square = 0.0;  // of the causes in units of their standard uncertainties, summed
};
UnexplainedResidual unexplained_residual(const FitMiss& miss, const Eigen::VectorXd& weights,
                                         double correlation_length);

struct ModelError {
    double floor = 0.0;  // see Fit
    double correlation_length = 1.0;
};

/// Floor and correlation length with which the unexplained residual is as large as its weights say. `weights`
/// are those that the fit was made with, `before` what they were made from.
ModelError model_error(const FitLayout& layout, const FitInputs& inputs, const FitMiss& miss,
                       const Eigen::VectorXd& weights, const ModelError& before);

}  // namespace assay::analysis
