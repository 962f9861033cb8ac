// The measure `burst-power`: the power at a distortion limit inside short bursts.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure burst_power_measure();

}  // namespace assay::cli
