// What a session folder holds, file by file with its hash: `contents.json`. Its own hash is the session's
// fingerprint, and what a signature signs.
//
// Three kinds of files: the contents (session.json, job, bench, captures, photographs and whatever else the
// numbers rest on), the pages that are made from them (certificate.*, plots/, curves/), and the envelope
// (contents.json, signature.json, bundles). The pages carry the fingerprint of the contents, so they cannot
// be among them; a signature covers them by a list of its own (signature.h).
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

struct FileEntry {
    std::string path{};  // below the session folder, with '/'
    std::uintmax_t bytes = 0;
    std::string blake2b{};  // 64 hexadecimal digits

    bool operator==(const FileEntry&) const = default;
};

struct Contents {
    std::string number{};  // of the certificate
    std::vector<FileEntry> files{};
};

enum class FilePart { contents, page, envelope };
FilePart part_of(const std::string& path);

/// A path that stays inside its folder on any system: plain names joined by '/', no "..", nothing hidden.
bool is_safe_path(const std::string& path);

/// Hashes all files of one kind, in the order of their names. Faults: links and other things that are no
/// plain files, names that are not safe, more than 2,000 files.
[[nodiscard]] capture::Result<std::vector<FileEntry>> hash_files(const std::filesystem::path& folder,
                                                                 FilePart part);

/// The text of contents.json; reading accepts exactly what writing gives.
std::string contents_text(const Contents& contents);
[[nodiscard]] capture::Result<Contents> contents_of_text(const std::string& text, const std::string& name);

/// A file that is not as the program writes it: fault of kind verification.
tl::unexpected<capture::Fault> damaged(const std::string& name, const std::string& what);

/// "7K3M-Q2XV-...": of the text of contents.json.
std::string contents_fingerprint(const std::string& contents_json);

/// Hashes the folder and writes contents.json; gives its text.
[[nodiscard]] capture::Result<std::string> write_contents(const std::filesystem::path& folder,
                                                          const std::string& number);

/// What differs between a list and the files that are there, one sentence a file.
struct FileTrouble {
    std::string path{};
    std::string what{};  // "was changed: ...", "is missing", "was added later"
    bool added = false;  // not in the list; nothing that is listed is harmed by it
};
std::vector<FileTrouble> compare_files(const std::vector<FileEntry>& listed,
                                       const std::vector<FileEntry>& found);

/// A whole file of at most `most` bytes, and no link to one; fault of kind bad_input_file.
[[nodiscard]] capture::Result<std::string> read_whole(const std::filesystem::path& path, std::size_t most);

}  // namespace assay::cli
