// Output power at distortion limits, and where clipping starts, from a staircase of rising levels.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::clipping_power {

Measure measure();

}  // namespace assay::cli::clipping_power
