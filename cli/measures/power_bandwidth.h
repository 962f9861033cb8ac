// The measure `power-bandwidth`: the power at a distortion limit against frequency.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure power_bandwidth_measure();

}  // namespace assay::cli
