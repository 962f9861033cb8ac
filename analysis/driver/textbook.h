// The textbook three-point values beside the fitted ones, as a cross-check: a remark where they are off by
// more than the method's own error, which is told by reading the fitted curve in the same way at the same
// frequencies.
#pragma once

#include "analysis/driver/parameter_values.h"

namespace assay::analysis {

/// Fills `textbook` and adds remarks. The fit must be there.
void add_textbook(const DriverInputs& inputs, const Surroundings& surroundings, DriverResult& result);

}  // namespace assay::analysis
