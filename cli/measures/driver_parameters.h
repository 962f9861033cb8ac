// Thiele-Small parameters of a driver from the impedance tests that it names.
#pragma once

#include "cli/measures/measure.h"

namespace assay::cli::driver_parameters {

Measure measure();

}  // namespace assay::cli::driver_parameters
