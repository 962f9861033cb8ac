// Distortion at one level.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::distortion {

Measure measure();

}  // namespace assay::cli::distortion
