// The measure `response`: gain and phase against frequency, and harmonics 2 to 5, from one sweep.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::response {

Measure measure();

}  // namespace assay::cli::response
