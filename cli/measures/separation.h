// The measure `separation`: how much of one channel is heard in another.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::separation {

Measure measure();

}  // namespace assay::cli::separation
