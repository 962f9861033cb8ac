// Reads and checks a job file (TOML) against its bench and the table of measures.
#pragma once

#include <filesystem>
#include <string>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Fault of kind bad_input_file: file, line, key, what is wrong, the mend. `tone_rate_hz` is the rate at
/// which tones will be made (the bench's, unless the command line says otherwise). Inputs that tests of a
/// line unit name are added to the bench's loads.
[[nodiscard]] capture::Result<Job> read_job(const std::filesystem::path& path, capture::Bench& bench,
                                            double tone_rate_hz);
/// The same from a text; the bench is left as it is, and what it would take in stands in `Job::bare_inputs`.
[[nodiscard]] capture::Result<Job> parse_job(std::string_view text, const std::string& name,
                                             const capture::Bench& bench, double tone_rate_hz);

}  // namespace assay::cli
