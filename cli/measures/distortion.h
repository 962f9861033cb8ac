// Distortion at one level.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure distortion_measure();

}  // namespace assay::cli
