// A file that nobody but its owner may read, in a folder that nobody but its owner may enter. POSIX only, as
// posix.h is: a port to another system rewrites the .cpp.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "capture/fault.h"

namespace assay::cli {

/// Makes the folder (0700) where there is none, and the file (0600) if there is none yet; a file that is
/// there already is left as it is. Fault of kind bad_arguments: it cannot be written, or others may enter the
/// folder.
[[nodiscard]] capture::Result<void> create_private_file(const std::filesystem::path& path,
                                                        std::string_view text);

/// Nothing where there is no such file. Fault of kind bad_arguments: others may read it or its folder, or it
/// belongs to somebody else, or it is a link, or larger than 4 kB.
[[nodiscard]] capture::Result<std::optional<std::string>> read_private_file(
    const std::filesystem::path& path);

/// A new folder (0700) whose name begins like `start` and that nobody had before; empty if it cannot be made.
std::filesystem::path make_private_folder(const std::filesystem::path& start);

}  // namespace assay::cli
