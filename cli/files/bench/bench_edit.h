// Changes values of a bench file in its text, so that comments and order stay.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

/// Key and its new value as TOML text; no value takes the key's line away.
using BenchEdits = std::vector<std::pair<std::string, std::optional<std::string>>>;

/// The file's text with these keys of the [[kind]] table of that name set: replaced where they stand, or
/// added behind the name. An empty name stands for the one table [kind]. The file itself is not written.
/// Faults of kind bad_input_file: no such file or table, a table in one line, a value over several lines.
[[nodiscard]] capture::Result<std::string> edit_bench(const std::filesystem::path& path,
                                                      const std::string& kind, const std::string& name,
                                                      const BenchEdits& edits);

}  // namespace assay::cli
