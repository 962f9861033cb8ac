// The measure `intermodulation`: what two tones make together that neither makes alone.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure intermodulation_measure();

}  // namespace assay::cli
