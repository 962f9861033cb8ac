// The measure `output-impedance`: from two response tests, with the load and without it.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::output_impedance {

Measure measure();

}  // namespace assay::cli::output_impedance
