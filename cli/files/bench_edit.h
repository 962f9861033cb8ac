// Changes values of a bench file in its text, so that comments and order stay.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

/// The file's text with these keys of [[input]] `name` set: replaced where they stand, or added behind the
/// name. Values are TOML text. The file itself is not written.
[[nodiscard]] capture::Result<std::string> edit_input(
    const std::filesystem::path& path, const std::string& name,
    const std::vector<std::pair<std::string, std::string>>& values);

}  // namespace assay::cli
