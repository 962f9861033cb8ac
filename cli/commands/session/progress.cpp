#include "cli/commands/session/progress.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <string>
#include <system_error>

#include "cli/files/posix.h"
#include "cli/files/session/session_file.h"

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

/// Where the test of that number, counted from 1, is kept.
fs::path folder_of_test(const fs::path& session, std::size_t number) {
    return progress_folder(session) / std::to_string(number);
}

/// The tests one after the other, up to the first that is not there.
capture::Result<Session> read_progress(const fs::path& folder) {
    auto whole = read_session(folder_of_test(folder, 1));
    std::error_code error;
    for (std::size_t number = 2; whole && fs::exists(folder_of_test(folder, number) / "session.json", error);
         ++number) {
        auto next = read_session(folder_of_test(folder, number));
        if (!next) return next;
        for (TestRecord& record : next->tests) whole->tests.push_back(std::move(record));
    }
    return whole;
}

}  // namespace

fs::path progress_folder(const fs::path& session) {
    return session / "progress";
}

capture::Result<void> save_progress(Session begun, const TestRecord& test, std::size_t number,
                                    const fs::path& folder) {
    std::error_code error;
    const fs::path place = folder_of_test(folder, number);
    fs::create_directories(place, error);
    begun.tests = {test};
    return write_file_safely(place / "session.json", session_text(begun));
}

bool has_progress(const fs::path& folder) {
    std::error_code error;
    return fs::exists(folder_of_test(folder, 1) / "session.json", error);
}

void forget_progress(const fs::path& folder) {
    std::error_code error;
    fs::remove_all(progress_folder(folder), error);
}

capture::Result<std::optional<Session>> load_progress(const RunOptions& options) {
    std::error_code error;
    const bool interrupted = has_progress(options.into);
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
    auto session = finished ? read_session(options.into) : read_progress(options.into);
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
