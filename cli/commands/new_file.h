// Writing a file that the program proposes.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"
#include "cli/commands/terminal/io.h"

namespace assay::cli {

/// A text as a value of a TOML file: in quotes, on one line.
std::string toml_text(const std::string& text);

/// A file that is there already is not written over. No name: standard output.
[[nodiscard]] capture::Result<void> write_new_file(const std::filesystem::path& file, const std::string& text,
                                                   const Manner& manner);

}  // namespace assay::cli
