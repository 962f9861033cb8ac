// How a job's bench is connected, drawn in text, with the levels that the card's inputs will see.
#pragma once

#include <string>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// A fault of kind bad_input_file where a claimed power, or twice of it into clipping, overloads an input.
[[nodiscard]] capture::Result<std::string> wiring_text(const Job& job, const capture::Bench& bench);

}  // namespace assay::cli
