// The curve `level` of a staircase: drive, volts, power, distortion.
#pragma once

#include "analysis/uncertainty/curve.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

analysis::Curve level_curve(const capture::Load& load, const TrustedSteps& steps);

}  // namespace assay::cli
