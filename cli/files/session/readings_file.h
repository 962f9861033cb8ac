// `readings.toml` of a session: the meter readings that its job asked for, one table a test. They stand
// beside the job, which stays as it was written, and count as if they were typed in it.
#pragma once

#include <filesystem>

#include "capture/fault.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Into the fields of the job's tests. A session without the file had no readings. Faults: not as the program
/// writes it, a test that the job does not have, a value outside its field's range.
[[nodiscard]] capture::Result<void> apply_readings(const std::filesystem::path& session, Job& job);

/// Of all tests that have asked for something; no file where there is nothing to tell.
[[nodiscard]] capture::Result<void> keep_readings(const std::filesystem::path& session, const Job& job);

}  // namespace assay::cli
