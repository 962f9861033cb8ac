// Power by hand: volts read off a meter across a known load.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure meter_power_measure();

}  // namespace assay::cli
