// Power by hand: volts read off a meter across a known load.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::meter_power {

Measure measure();

}  // namespace assay::cli::meter_power
