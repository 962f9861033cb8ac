// Reads and checks a job file (TOML) against its bench and the table of measures.
#pragma once

#include <filesystem>
#include <string>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Fault of kind bad_input_file: file, line, key, what is wrong, the mend. `tone_rate_hz` is the rate at
/// which tones will be made (the bench's, unless the command line says otherwise).
[[nodiscard]] capture::Result<Job> read_job(const std::filesystem::path& path, const capture::Bench& bench,
                                            double tone_rate_hz);
[[nodiscard]] capture::Result<Job> parse_job(std::string_view text, const std::string& name,
                                             const capture::Bench& bench, double tone_rate_hz);

}  // namespace assay::cli
