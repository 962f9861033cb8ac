// What is done of a session that is still running, so that it can be gone on with after whatever ended it. It
// lies in SESSION/progress until the session is whole: a folder for each test that is done, by its number in
// the job, so that the hundredth test costs no more to keep than the first.
#pragma once

#include <filesystem>
#include <optional>

#include "capture/fault.h"
#include "cli/commands/commands.h"
#include "cli/files/session/session.h"

namespace assay::cli {

std::filesystem::path progress_folder(const std::filesystem::path& session);

/// After each test, the `number`th of the job: it is there whole or not at all, whenever the program is
/// ended. `begun` is the session before its first test.
[[nodiscard]] capture::Result<void> save_progress(Session begun, const TestRecord& test, std::size_t number,
                                                  const std::filesystem::path& folder);
/// Whether a session that was interrupted lies there.
bool has_progress(const std::filesystem::path& folder);
void forget_progress(const std::filesystem::path& folder);

/// The tests that are done and were trusted, of a session that was interrupted or that ended with tests that
/// could not be trusted. Nothing where the folder holds neither. Faults: job or bench are not those it began
/// with; a session in which nothing is left to do.
[[nodiscard]] capture::Result<std::optional<Session>> load_progress(const RunOptions& options);

}  // namespace assay::cli
