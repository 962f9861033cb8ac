// What `driver-parameters` reads of its test and of the impedance tests that it names.
#pragma once

#include <vector>

#include "analysis/driver/parameters.h"
#include "cli/measures/measure.h"

namespace assay::cli {

std::vector<Field> driver_parameters_fields();

/// The named tests must be impedance tests of the job, with a mass or box where one is meant. A fault names
/// the field by its text's first word.
[[nodiscard]] capture::Result<void> check_driver_parameters(const Setup& setup);

/// Faults: a named test's capture or file is worthless.
[[nodiscard]] capture::Result<analysis::DriverInputs> driver_inputs(const Setup& setup);

}  // namespace assay::cli
