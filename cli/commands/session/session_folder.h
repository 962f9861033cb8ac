// The folder that a session is written into: taken for one run alone, and made ready with what it was asked.
#pragma once

#include <optional>

#include "capture/fault.h"
#include "cli/commands/commands.h"
#include "cli/files/posix.h"

namespace assay::cli {

/// The folder `into`, made where it is not there, and locked. None where a session to go on with is not
/// there.
[[nodiscard]] capture::Result<std::optional<FolderLock>> take_session_folder(const RunOptions& options);

/// Job and bench copied into it. Fault: a session is there already, finished or interrupted.
[[nodiscard]] capture::Result<void> prepare_session_folder(const RunOptions& options);

}  // namespace assay::cli
