// The measure `noise`: what comes out when nothing goes in.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::noise {

Measure measure();

}  // namespace assay::cli::noise
