#include "cli/commands/session/kept_files.h"

#include <fmt/format.h>

#include <set>

#include "cli/files/curves/response_file.h"
#include "cli/files/picture/photograph.h"
#include "cli/files/picture/picture_notes.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/utf8.h"
#include "cli/signature/contents.h"
#include "cli/signature/hash.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;
using capture::fail;
using capture::FaultKind;

constexpr std::size_t most_bytes = std::size_t{64} << 20U;

/// Letters, digits, '-', '_' and '.' of a file's own name; others become '_'.
std::string plain_file_name(const std::string& named) {
    std::string name = plain_name(fs::path(named).filename().string(), std::string::npos, ".");
    constexpr std::size_t longest = 80;  // with its ending, which tells what it is
    if (name.size() > longest) name.erase(0, name.size() - longest);
    while (!name.empty() && (name.front() == '.' || name.back() == '.')) {
        name.erase(name.front() == '.' ? 0 : name.size() - 1, 1);
    }
    return name.empty() ? "file" : name;
}

capture::Result<void> keep(const fs::path& from, const fs::path& to, const std::string& key) {
    const auto bytes = read_whole(from, most_bytes);
    if (!bytes) {
        return fail(FaultKind::bad_input_file, key + ": " + bytes.error().text,
                    "give its name as seen from the folder of the file that names it");
    }
    std::error_code error;
    fs::create_directories(to.parent_path(), error);
    return write_file_safely(to, *bytes);
}

/// A test's field that names a file, none where it has none.
std::string* named_file(Test& test) {
    const auto field = test.fields.find("from_file");
    return field == test.fields.end() ? nullptr : std::get_if<std::string>(&field->second);
}

capture::Result<void> keep_photograph(const fs::path& from, const fs::path& to, const fs::path& job_file) {
    const std::string key = visible_text(job_file.string(), 200) + ": [unit] photographs";
    const auto bytes = read_photograph(from);
    if (!bytes) return fail(FaultKind::bad_input_file, key + ": " + bytes.error().text, bytes.error().mend);
    // Place and serial numbers must not leave the house unknowingly; the file that was named stays as it is.
    const auto clean = without_notes(*bytes);
    if (!clean) {
        return fail(FaultKind::bad_input_file,
                    key + ": " + visible_text(from.string(), 200) + ": " + clean.error().text,
                    clean.error().mend);
    }
    std::error_code error;
    fs::create_directories(to.parent_path(), error);
    return write_file_safely(to, *clean);
}

}  // namespace

std::string kept_name(const std::string& named) {
    const std::string plain = fs::path(named).lexically_normal().generic_string();
    if (is_safe_path(plain) && part_of(plain) == FilePart::contents && plain != "session.json" &&
        plain != "job.toml" && plain != "bench.toml" && !plain.starts_with("captures/")) {
        return plain;
    }
    return "inputs/" + hash_text(named).substr(0, 8) + "-" + plain_file_name(named);
}

std::vector<std::string> kept_photographs(const std::vector<std::string>& named) {
    std::vector<std::string> kept;
    std::set<std::string> taken;  // in small letters: some file systems do not tell them from large ones
    for (const std::string& file : named) {
        const std::string plain = plain_file_name(file);
        std::string name = plain;
        for (int number = 2; !taken.insert(lower_case(name)).second; ++number) {
            const fs::path path(plain);
            name = fmt::format("{}-{}{}", path.stem().string(), number, path.extension().string());
        }
        kept.push_back("photographs/" + name);
    }
    return kept;
}

void name_kept_files(Job& job) {
    for (Test& test : job.tests) {
        if (std::string* file = named_file(test)) *file = kept_name(*file);
    }
    job.unit.photographs = kept_photographs(job.unit.photographs);
}

void name_kept_files(capture::Bench& bench) {
    if (bench.jig && !bench.jig->match_file.empty()) bench.jig->match_file = kept_name(bench.jig->match_file);
    for (capture::Input& input : bench.inputs) {
        if (!input.response_file.empty()) input.response_file = kept_name(input.response_file);
    }
}

capture::Result<void> keep_files(Job& job, capture::Bench& bench, const fs::path& job_file,
                                 const fs::path& bench_file, const fs::path& session) {
    for (Test& test : job.tests) {
        const std::string* file = named_file(test);
        if (file == nullptr) continue;
        const std::string key = fmt::format("{}: test \"{}\": from_file",
                                            visible_text(job_file.string(), 200), visible_text(test.id, 80));
        if (auto kept = keep(job_file.parent_path() / *file, session / kept_name(*file), key); !kept)
            return kept;
    }
    const std::vector<std::string> photographs = kept_photographs(job.unit.photographs);
    for (std::size_t i = 0; i < photographs.size(); ++i) {
        auto kept = keep_photograph(job_file.parent_path() / job.unit.photographs[i],
                                    session / photographs[i], job_file);
        if (!kept) return kept;
    }
    if (bench.jig && !bench.jig->match_file.empty()) {
        const std::string& file = bench.jig->match_file;
        const std::string key = visible_text(bench_file.string(), 200) + ": [impedance_jig] match";
        if (auto kept = keep(bench_file.parent_path() / file, session / kept_name(file), key); !kept)
            return kept;
    }
    for (const capture::Input& input : bench.inputs) {
        if (input.response_file.empty()) continue;
        const std::string key =
            fmt::format("{}: input \"{}\": response", visible_text(bench_file.string(), 200),
                        visible_text(input.name, 80));
        if (auto kept = keep(bench_file.parent_path() / input.response_file,
                             session / kept_name(input.response_file), key);
            !kept)
            return kept;
        if (const auto read = read_card_response(bench_file.parent_path() / input.response_file); !read)
            return fail(FaultKind::bad_input_file, key + ": " + read.error().text, read.error().mend);
    }
    name_kept_files(job);
    name_kept_files(bench);
    return {};
}

}  // namespace assay::cli
