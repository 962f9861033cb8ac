// A session as it is given on the command line: its folder, or a bundle, which is unpacked for as long as
// needed.
#pragma once

#include <filesystem>
#include <optional>

#include "capture/fault.h"
#include "cli/signature/bundle.h"

namespace assay::cli {

struct SessionPlace {
    std::filesystem::path folder{};
    std::optional<TemporaryFolder> unpacked{};  // holds the folder of a bundle
};

[[nodiscard]] capture::Result<SessionPlace> open_session_place(const std::filesystem::path& path);

}  // namespace assay::cli
