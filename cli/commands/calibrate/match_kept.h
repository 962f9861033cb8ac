// What a match test leaves in the session folder: a file that other benches and later sessions can name.
#pragma once

#include <filesystem>

#include "capture/fault.h"
#include "cli/files/session/session.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// Writes match.json (match-<test id>.json where the session holds that name already) if the test is a match
/// test that gave a result; nothing else.
[[nodiscard]] capture::Result<void> keep_match(const Setup& setup, const TestRecord& record,
                                               const std::filesystem::path& folder);

}  // namespace assay::cli
