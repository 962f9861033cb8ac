#include "cli/commands/kept_files.h"

#include <fmt/format.h>

#include "cli/files/photograph.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/response_file.h"
#include "cli/signature/contents.h"
#include "cli/signature/hash.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;
using capture::fail;
using capture::FaultKind;

constexpr std::size_t most_bytes = std::size_t{64} << 20U;

/// Letters, digits, '-', '_' and '.' of a file's own name; others become '_'.
std::string plain_name(const std::string& named) {
    std::string name;
    for (const char letter : fs::path(named).filename().string()) {
        const bool plain = (letter >= '0' && letter <= '9') || (letter >= 'A' && letter <= 'Z') ||
                           (letter >= 'a' && letter <= 'z') || letter == '-' || letter == '_' ||
                           letter == '.';
        name += plain ? letter : '_';
    }
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
    std::error_code error;
    fs::create_directories(to.parent_path(), error);
    return write_file_safely(to, *bytes);
}

}  // namespace

std::string kept_name(const std::string& named) {
    const std::string plain = fs::path(named).lexically_normal().generic_string();
    if (is_safe_path(plain) && part_of(plain) == FilePart::contents && plain != "session.json" &&
        plain != "job.toml" && plain != "bench.toml" && !plain.starts_with("captures/")) {
        return plain;
    }
    return "inputs/" + hash_text(named).substr(0, 8) + "-" + plain_name(named);
}

std::string kept_photograph(const std::string& named) {
    return "photographs/" + plain_name(named);
}

void name_kept_files(Job& job, capture::Bench& bench) {
    for (Test& test : job.tests) {
        if (std::string* file = named_file(test)) *file = kept_name(*file);
    }
    for (std::string& file : job.unit.photographs) file = kept_photograph(file);
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
    for (const std::string& file : job.unit.photographs) {
        auto kept = keep_photograph(job_file.parent_path() / file, session / kept_photograph(file), job_file);
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
    name_kept_files(job, bench);
    return {};
}

}  // namespace assay::cli
