// The measure `power-bandwidth`: the power at a distortion limit against frequency.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::power_bandwidth {

Measure measure();

}  // namespace assay::cli::power_bandwidth
