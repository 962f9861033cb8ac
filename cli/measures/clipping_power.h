// Output power at distortion limits, and where clipping starts, from a staircase of rising levels.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure clipping_power_measure();

/// 0.1 -> "0_1", 1 -> "1": how a limit stands in a quantity's name.
std::string limit_in_name(double limit_percent);

}  // namespace assay::cli
