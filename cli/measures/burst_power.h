// The measure `burst-power`: the power at a distortion limit inside short bursts.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::burst_power {

Measure measure();

}  // namespace assay::cli::burst_power
