// A session computed again from what lies in its folder: job, bench, the files that they name, and the
// captures. Nothing is taken over from session.json but what cannot be computed: the tones, when it was made,
// its number.
#pragma once

#include <filesystem>

#include "capture/fault.h"
#include "cli/files/session/session.h"

namespace assay::cli {

/// Faults: job or bench cannot be read, or a capture is missing or damaged.
[[nodiscard]] capture::Result<Session> evaluate_again(const Session& before,
                                                      const std::filesystem::path& folder);

}  // namespace assay::cli
