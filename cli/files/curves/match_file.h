// Writes and reads the match of two inputs ("assay-match-1"), the file that `match` of [impedance_jig] names.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"
#include "cli/measures/jig/input_match.h"

namespace assay::cli {

std::string match_text(const InputMatch& match);

/// Faults of kind bad_input_file, one line with the file and the key.
[[nodiscard]] capture::Result<InputMatch> parse_match(const std::string& text, const std::string& name);
[[nodiscard]] capture::Result<InputMatch> read_match(const std::filesystem::path& path);

}  // namespace assay::cli
