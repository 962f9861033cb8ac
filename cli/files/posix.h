// What the program needs of the operating system beyond standard C++, in one place: files that survive a
// power cut, and other programs. A port to another system rewrites this file's .cpp only.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

/// Writes beside the file under a temporary name, forces it to the disk, and renames: the file is either the
/// old one or the whole new one. Fault of kind bad_arguments (the place cannot be written to).
[[nodiscard]] capture::Result<void> write_file_safely(const std::filesystem::path& path,
                                                      std::string_view text);

/// All of the text into an open file, in as many pieces as it takes; false, with errno, where it does not go.
bool write_all(int file, std::string_view text);

/// A folder that this run alone writes into, until this goes or the program ends, however it ends. Nothing is
/// left in the folder.
class FolderLock {
  public:
    /// Fault of kind bad_arguments: another run holds the folder, or it is not there.
    [[nodiscard]] static capture::Result<FolderLock> take(const std::filesystem::path& folder);
    FolderLock(FolderLock&& other) noexcept;
    FolderLock& operator=(FolderLock&&) = delete;
    FolderLock(const FolderLock&) = delete;
    FolderLock& operator=(const FolderLock&) = delete;
    ~FolderLock();

  private:
    explicit FolderLock(int descriptor) : descriptor_(descriptor) {}
    int descriptor_ = -1;
};

struct ProgramOutput {
    int exit_status = 0;  // 128 + signal if it was ended by one
    std::string out{};
    std::string err{};
};

/// Runs a program found on PATH, without a shell: each argument arrives as it is. It gets `input` on its
/// standard input, the plain locale "C", and no more than `seconds`. A fault of kind bad_input_file says that
/// the program is not there, of kind internal that it could not be run.
[[nodiscard]] capture::Result<ProgramOutput> run_program(const std::vector<std::string>& arguments,
                                                         std::string_view input, double seconds);

}  // namespace assay::cli
