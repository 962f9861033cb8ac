// Asks for the meter readings that a job wants, at the terminal or from a file of answers, and puts them into
// the test's fields, as if the job had stated them.
#pragma once

#include <optional>
#include <string>

#include "capture/fault.h"
#include "cli/commands/terminal/questions.h"
#include "cli/measures/job.h"
#include "cli/measures/readings.h"

namespace assay::cli {

/// One reading in the unit ("V", "A", "mV", "degC"): decimal comma and unit words are understood, "-" (if
/// `may_skip`) is nothing. What lies outside the range is asked for again; what `odd` objects to is believed
/// when it is typed twice (a file of answers says the same twice by itself).
[[nodiscard]] capture::Result<std::optional<double>> ask_reading(
    Questions& questions, const Question& question, const std::string& unit, double minimum, double maximum,
    bool may_skip, const std::function<std::string(double)>& odd);

/// All of one moment. Where nobody can answer nothing is asked; what is missing then is told with the
/// results. Faults: Ctrl-C, an answer that is none.
[[nodiscard]] capture::Result<void> ask_readings(Questions& questions, Test& test, ReadingMoment moment);

}  // namespace assay::cli
