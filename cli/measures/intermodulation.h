// The measure `intermodulation`: what two tones make together that neither makes alone.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::intermodulation {

Measure measure();

}  // namespace assay::cli::intermodulation
