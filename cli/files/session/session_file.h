// Writes and reads `session.json` (schema "assay-session-1").
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"
#include "cli/files/session/session.h"

namespace assay::cli {

/// The text of session.json: keys in a fixed order, numbers in their shortest exact form.
std::string session_text(const Session& session);

/// Written to a temporary name, then renamed.
[[nodiscard]] capture::Result<void> write_session(const Session& session,
                                                  const std::filesystem::path& folder);

/// Takes hold the tone and a handle on the capture in `folder`/captures; their samples are not read.
[[nodiscard]] capture::Result<Session> read_session(const std::filesystem::path& folder);

}  // namespace assay::cli
