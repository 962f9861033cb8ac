#include "cli/commands/session/session_folder.h"

#include <system_error>

#include "cli/commands/session/progress.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

using capture::Fault;
using capture::FaultKind;
using capture::Result;
namespace fs = std::filesystem;

namespace {

Result<void> copy_text(const fs::path& from, const fs::path& to) {
    const auto text = read_toml_text(from);
    if (!text) return tl::unexpected<Fault>(text.error());
    return write_file_safely(to, *text);
}

tl::unexpected<Fault> cannot_be_made(const fs::path& folder, const std::error_code& error) {
    return capture::fail(FaultKind::bad_arguments, folder.string() + ": cannot be made: " + error.message(),
                         "choose a folder that you may write to");
}

}  // namespace

Result<std::optional<FolderLock>> take_session_folder(const RunOptions& options) {
    std::error_code error;
    if (options.resume && !fs::is_directory(options.into, error)) return std::optional<FolderLock>{};
    fs::create_directories(options.into, error);
    if (error) return cannot_be_made(options.into, error);
    auto lock = FolderLock::take(options.into);
    if (!lock) return tl::unexpected<Fault>(lock.error());
    return std::optional<FolderLock>(std::move(*lock));
}

Result<void> prepare_session_folder(const RunOptions& options) {
    std::error_code error;
    if (options.resume && fs::exists(options.into / "job.toml", error)) return {};
    if (fs::exists(options.into / "session.json", error)) {
        return capture::fail(FaultKind::bad_arguments,
                             options.into.string() + ": holds a finished session already",
                             "choose another folder: a session is evidence and is not written over");
    }
    if (has_progress(options.into)) {
        return capture::fail(FaultKind::bad_arguments,
                             options.into.string() + ": holds a session that was interrupted",
                             "go on with it by --resume, or choose another folder");
    }
    fs::create_directories(options.into / "captures", error);
    if (error) return cannot_be_made(options.into, error);
    if (auto copied = copy_text(options.job, options.into / "job.toml"); !copied) return copied;
    return copy_text(options.bench, options.into / "bench.toml");
}

}  // namespace assay::cli
