// The measure `output-impedance`: from two response tests, with the load and without it.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli {

Measure output_impedance_measure();

}  // namespace assay::cli
