// A session in one file: a plain POSIX ustar archive (IEEE Std 1003.1, pax, "ustar Interchange Format") that
// any tar unpacks. The same folder gives the same bytes: names in order, no times, no owners, mode 0644.
//
// Reading accepts exactly what writing gives, byte for byte outside the files' own content: one top folder,
// plain files only, safe paths, no name twice, zero padding, two zero blocks and the end. So nothing escapes
// the folder that it is unpacked into, and no changed byte goes unnoticed.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"

namespace assay::cli {

/// Contents, pages, contents.json and signature.json of the session folder, below "assay-NUMBER/". Written to
/// a temporary name, then renamed.
[[nodiscard]] capture::Result<void> write_bundle(const std::filesystem::path& folder,
                                                 const std::string& number,
                                                 const std::filesystem::path& bundle);

/// Unpacks into `into`, an empty folder. Fault of kind verification: truncated, changed, or not a bundle;
/// with the byte at which. What was unpacked by then stays in `into`.
[[nodiscard]] capture::Result<void> unpack_bundle(const std::filesystem::path& bundle,
                                                  const std::filesystem::path& into);

/// A new empty folder for unpacking, removed with all that is in it when this goes.
struct TemporaryFolder {
    std::filesystem::path path{};

    TemporaryFolder() = default;
    TemporaryFolder(TemporaryFolder&& other) noexcept : path(std::move(other.path)) { other.path.clear(); }
    TemporaryFolder& operator=(TemporaryFolder&&) = delete;
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    ~TemporaryFolder();
};
[[nodiscard]] capture::Result<TemporaryFolder> make_temporary_folder();

}  // namespace assay::cli
