// What masses and boxes tell about themselves: a mass that fell off, a box that leaks, tests that contradict
// one another. Each is named as what probably happened on the bench.
#pragma once

#include <optional>
#include <vector>

#include "analysis/driver/fit_start.h"
#include "analysis/driver/parameters.h"

namespace assay::analysis {

/// Why a loaded curve cannot be used beside the free one: no peak, or a shift that goes the wrong way.
std::optional<Absent> unusable_loading(const LoadedCurve& taken, const std::optional<Peak>& peak,
                                       double free_hz);

/// Why a loaded curve cannot be that of the driver that the free ones show: together they leave three times
/// the model error of the free ones alone, and more than 0.7 %.
std::optional<Absent> misfit(const FitInputs& free_only, const Fit& free_fit, const LoadedCurve& taken,
                             double mms_kg);

/// Remarks on the loaded curves of a fit: a shift too small, a second peak, a box that loses or weighs what
/// it should not.
std::vector<Remark> loading_remarks(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit);

/// Each loaded curve alone with the free ones: set when two of them tell different drivers, by more than
/// three times what their doubts allow and by more than 3 %.
std::optional<Absent> contradiction(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit);

}  // namespace assay::analysis
