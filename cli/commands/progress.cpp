#include "cli/commands/progress.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <system_error>

#include "cli/files/posix.h"
#include "cli/files/session_file.h"

namespace assay::cli {

namespace {

namespace fs = std::filesystem;
using capture::FaultKind;

std::string bytes_of(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

/// What a killed run left half written.
void remove_half_written(const fs::path& folder) {
    std::error_code error;
    std::vector<fs::path> half;
    for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
        if (entry->path().extension() == ".part") half.push_back(entry->path());
    }
    for (const fs::path& path : half) fs::remove(path, error);
}

}  // namespace

fs::path progress_folder(const fs::path& session) {
    return session / "progress";
}

capture::Result<void> save_progress(const Session& session, const fs::path& folder) {
    std::error_code error;
    fs::create_directories(progress_folder(folder), error);
    return write_file_safely(progress_folder(folder) / "session.json", session_text(session));
}

void forget_progress(const fs::path& folder) {
    std::error_code error;
    fs::remove_all(progress_folder(folder), error);
}

capture::Result<std::optional<Session>> load_progress(const RunOptions& options) {
    std::error_code error;
    const bool interrupted = fs::exists(progress_folder(options.into) / "session.json", error);
    const bool finished = fs::exists(options.into / "session.json", error);
    if (!interrupted && !finished) return std::optional<Session>{};
    for (const auto& [given, kept] : {std::pair{options.job, options.into / "job.toml"},
                                      std::pair{options.bench, options.into / "bench.toml"}}) {
        if (bytes_of(given) == bytes_of(kept)) continue;
        return capture::fail(FaultKind::bad_arguments,
                             given.string() + ": is not what this session began with (" + kept.string() + ")",
                             "go on with the same job and bench, or start a session in another folder");
    }
    // A finished one is the newer of the two: progress is taken away only after it is written.
    auto session = read_session(finished ? options.into : progress_folder(options.into));
    if (!session) return tl::unexpected<capture::Fault>(session.error());
    const std::size_t before = session->tests.size();
    std::erase_if(session->tests, [](const TestRecord& record) { return record.result.fault.has_value(); });
    if (finished && session->tests.size() == before) {
        return capture::fail(FaultKind::bad_arguments,
                             options.into.string() + ": holds a finished session, nothing is left to do",
                             "choose another folder for a new session");
    }
    for (TestRecord& record : session->tests) {
        for (Take& take : record.takes)
            take.recording.path = options.into / "captures" / take.recording.path.filename();
    }
    session->claims.clear();
    remove_half_written(options.into / "captures");
    return std::optional<Session>(std::move(*session));
}

}  // namespace assay::cli
