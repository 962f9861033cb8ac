#include "cli/signature/contents.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/session/session_describe.h"
#include "cli/files/utf8.h"
#include "cli/files/whole_file.h"
#include "cli/signature/file_entry_json.h"
#include "cli/signature/hash.h"

namespace assay::cli {

namespace fs = std::filesystem;
using capture::fail;
using capture::FaultKind;

namespace {

constexpr const char* contents_schema = "assay-contents-1";
constexpr std::size_t most_listed_files = 2000;

std::string size_text(std::uintmax_t bytes) {
    return fmt::format("{} bytes", bytes);
}

}  // namespace

FilePart part_of(const std::string& path) {
    if (path == "contents.json" || path == "signature.json") return FilePart::envelope;
    const bool top = path.find('/') == std::string::npos;
    if (top && path.starts_with("assay-") && path.ends_with(".tar")) return FilePart::envelope;
    if (path.starts_with("plots/") || path.starts_with("curves/")) return FilePart::page;
    if (path == "certificate.html" || path == "certificate.pdf" || path == "certificate.png") {
        return FilePart::page;
    }
    return FilePart::contents;
}

bool is_safe_path(const std::string& path) {
    if (path.empty() || path.size() > 240 || first_invalid(path)) return false;
    std::size_t start = 0;
    while (start <= path.size()) {
        const std::size_t end = std::min(path.find('/', start), path.size());
        const std::string name = path.substr(start, end - start);
        // A leading dot hides a file, and covers "." and "..".
        if (name.empty() || name.front() == '.' || name.back() == '.' || name.back() == ' ') return false;
        for (const char letter : name) {
            const auto code = static_cast<unsigned char>(letter);
            if (code < 0x20 || code == 0x7F || letter == '\\' || letter == ':') return false;
        }
        start = end + 1;
    }
    return true;
}

capture::Result<std::vector<FileEntry>> hash_files(const fs::path& folder, FilePart part) {
    std::vector<std::string> paths;
    std::error_code error;
    fs::recursive_directory_iterator entries(folder, error);
    for (; !error && entries != fs::recursive_directory_iterator(); entries.increment(error)) {
        const std::string path = entries->path().lexically_relative(folder).generic_string();
        const auto status = entries->symlink_status(error);
        if (error) break;
        const std::string shown = visible_path(entries->path());
        if (fs::is_directory(status)) continue;
        if (!fs::is_regular_file(status)) {
            return fail(FaultKind::bad_input_file, shown + ": is not a plain file",
                        "put the file itself into the session, not a link to it");
        }
        if (entries->path().filename().string().starts_with('.')) continue;  // left by file managers
        if (part_of(path) != part) continue;
        if (!is_safe_path(path)) {
            return fail(FaultKind::bad_input_file, shown + ": its name cannot be used on every computer",
                        "give it a name of plain letters and digits");
        }
        if (paths.size() >= most_listed_files) {
            return fail(FaultKind::bad_input_file,
                        visible_path(folder) + ": holds too many files for a session",
                        "keep other things in another folder");
        }
        paths.push_back(path);
    }
    if (error) {
        return fail(FaultKind::bad_input_file,
                    visible_path(folder) + ": cannot be listed: " + error.message(),
                    "name the folder of a finished session");
    }
    std::sort(paths.begin(), paths.end());
    std::vector<FileEntry> found;
    for (const std::string& path : paths) {
        const auto hash = hash_file(folder / path);
        if (!hash) return tl::unexpected(hash.error());
        found.push_back({path, hash->bytes, hash->blake2b});
    }
    return found;
}

std::string contents_text(const Contents& contents) {
    return json_text(json_of([&](JsonWriter& archive) {
        archive.field("schema", std::string(contents_schema));
        archive.field("number", contents.number);
        archive.field("hash", std::string("BLAKE2b-256 (RFC 7693)"));
        archive.field("files", contents.files);
    }));
}

tl::unexpected<capture::Fault> damaged(const std::string& name, const std::string& what) {
    return fail(FaultKind::verification, visible_text(name, 200) + ": " + what,
                "it was changed since the program wrote it: ask for an undamaged copy");
}

capture::Result<Contents> contents_of_text(const std::string& text, const std::string& name) {
    Contents contents;
    try {
        const Json document = Json::parse(text);
        Trouble trouble;
        const Place root{};
        JsonReader archive(document, root, trouble);
        archive.field("number", contents.number);
        archive.field("files", contents.files);
        if (trouble.first) return damaged(name, *trouble.first);
    } catch (const Json::exception&) {
        return damaged(name, "is not JSON");
    }
    for (const FileEntry& entry : contents.files) {
        if (!is_safe_path(entry.path) || part_of(entry.path) != FilePart::contents ||
            bytes_from_hex(entry.blake2b, hash_bytes).empty()) {
            return damaged(
                name, "names a file that cannot be in a session: \"" + visible_text(entry.path, 80) + "\"");
        }
    }
    if (contents_text(contents) != text) return damaged(name, "is not as the program writes it");
    return contents;
}

std::string contents_fingerprint(const std::string& contents_json) {
    return fingerprint(blake2b(contents_json));
}

capture::Result<std::string> write_contents(const fs::path& folder, const std::string& number) {
    auto files = hash_files(folder, FilePart::contents);
    if (!files) return tl::unexpected(files.error());
    const std::string text = contents_text({number, std::move(*files)});
    if (const auto written = write_file_safely(folder / "contents.json", text); !written) {
        return tl::unexpected(written.error());
    }
    return text;
}

std::vector<FileTrouble> compare_files(const std::vector<FileEntry>& listed,
                                       const std::vector<FileEntry>& found) {
    std::vector<FileTrouble> troubles;
    std::map<std::string, const FileEntry*> there;
    for (const FileEntry& entry : found) there[entry.path] = &entry;
    for (const FileEntry& entry : listed) {
        const auto match = there.find(entry.path);
        if (match == there.end()) {
            troubles.push_back({entry.path, "is missing", false});
            continue;
        }
        if (match->second->bytes != entry.bytes) {
            troubles.push_back(
                {entry.path,
                 "was changed: " + size_text(match->second->bytes) + " instead of " + size_text(entry.bytes),
                 false});
        } else if (match->second->blake2b != entry.blake2b) {
            troubles.push_back({entry.path, "was changed: its hash is another one", false});
        }
        there.erase(match);
    }
    for (const auto& [path, entry] : there) troubles.push_back({path, "was added later", true});
    return troubles;
}

capture::Result<std::string> read_whole(const fs::path& path, std::size_t most) {
    const std::string shown = visible_path(path);
    std::error_code error;
    if (!fs::is_regular_file(fs::symlink_status(path, error))) {
        return fail(FaultKind::bad_input_file, shown + ": there is no such file");
    }
    auto text = whole_file(path, most);
    if (text) return std::move(*text);
    return fail(FaultKind::bad_input_file,
                shown + (text.error() == ReadTrouble::too_large ? ": is too large" : ": cannot be read"));
}

}  // namespace assay::cli
