#include "cli/files/private_file.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

constexpr mode_t others = S_IRWXG | S_IRWXO;
constexpr std::size_t most_key_bytes = 4096;

tl::unexpected<capture::Fault> trouble(const std::filesystem::path& path, const char* what, int error) {
    return fail(FaultKind::bad_arguments, visible_path(path) + ": " + what + ": " + std::strerror(error),
                "set ASSAY_KEY_DIR to a folder of your own");
}

/// What is wrong with owner or permissions, as a fault; the mend is the command that tightens them.
capture::Result<void> only_ours(const std::filesystem::path& path, const struct stat& found,
                                const char* mode) {
    if (found.st_uid != ::geteuid()) {
        return fail(FaultKind::bad_arguments, visible_path(path) + ": belongs to somebody else",
                    "set ASSAY_KEY_DIR to a folder of your own");
    }
    if ((found.st_mode & others) != 0) {
        return fail(
            FaultKind::bad_arguments,
            fmt::format("{}: others may read it (its permissions are {:04o})", visible_path(path),
                        static_cast<unsigned>(found.st_mode & 07777U)),
            fmt::format("who read it can sign as you: if that may have happened, move it away and have a "
                        "new key made; else chmod {}",
                        mode));
    }
    return {};
}

capture::Result<void> check_folder(const std::filesystem::path& folder) {
    struct stat found {};
    if (::stat(folder.c_str(), &found) != 0) return trouble(folder, "cannot be looked at", errno);
    if (!S_ISDIR(found.st_mode)) return trouble(folder, "is no folder", ENOTDIR);
    return only_ours(folder, found, "700");
}

}  // namespace

capture::Result<void> create_private_file(const std::filesystem::path& path, std::string_view text) {
    const std::filesystem::path folder = path.parent_path();
    std::error_code error;
    if (folder.has_parent_path()) std::filesystem::create_directories(folder.parent_path(), error);
    if (::mkdir(folder.c_str(), S_IRWXU) != 0 && errno != EEXIST) {
        return trouble(folder, "cannot be made", errno);
    }
    if (auto checked = check_folder(folder); !checked) return checked;
    std::filesystem::path temporary = path;
    temporary += "." + std::to_string(::getpid()) + ".part";
    const int file =
        ::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, S_IRUSR | S_IWUSR);
    if (file < 0) return trouble(path, "cannot be written", errno);
    const bool whole = write_all(file, text) && ::fsync(file) == 0;
    int failed = whole ? 0 : errno;
    ::close(file);
    // A link does not replace what is there, as a renaming would.
    if (whole && ::link(temporary.c_str(), path.c_str()) != 0 && errno != EEXIST) failed = errno;
    ::unlink(temporary.c_str());
    if (failed != 0) return trouble(path, "cannot be written", failed);
    return {};
}

capture::Result<std::optional<std::string>> read_private_file(const std::filesystem::path& path) {
    const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (file < 0 && (errno == ENOENT || errno == ENOTDIR)) return std::optional<std::string>{};
    if (file < 0) return trouble(path, "cannot be read", errno);
    struct stat found {};
    std::array<char, most_key_bytes + 1> buffer{};
    const bool known = ::fstat(file, &found) == 0;
    const ssize_t count = ::read(file, buffer.data(), buffer.size());
    const int failed = errno;
    ::close(file);
    if (!known || count < 0) return trouble(path, "cannot be read", failed);
    if (auto checked = only_ours(path, found, "600"); !checked) return tl::unexpected(checked.error());
    if (auto checked = check_folder(path.parent_path()); !checked) return tl::unexpected(checked.error());
    if (static_cast<std::size_t>(count) > most_key_bytes) return trouble(path, "is too large", EFBIG);
    return std::optional<std::string>{std::string(buffer.data(), static_cast<std::size_t>(count))};
}

std::filesystem::path make_private_folder(const std::filesystem::path& start) {
    std::string name = start.string() + "XXXXXX";
    return ::mkdtemp(name.data()) != nullptr ? std::filesystem::path(name) : std::filesystem::path{};
}

}  // namespace assay::cli
