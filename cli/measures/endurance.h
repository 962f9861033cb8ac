// The measure `endurance`: a sine or music-like noise held for minutes to hours, and how long the output
// lasts.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::endurance {

Measure measure();

}  // namespace assay::cli::endurance
