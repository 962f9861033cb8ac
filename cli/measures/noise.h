// The measure `noise`: what comes out when nothing goes in.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure noise_measure();

}  // namespace assay::cli
