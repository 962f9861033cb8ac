#include "cli/signature/bundle.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <set>
#include <vector>

#include "cli/files/plain_text.h"
#include "cli/files/private_file.h"
#include "cli/files/utf8.h"
#include "cli/signature/contents.h"
#include "cli/signature/ustar.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;
using capture::fail;
using capture::FaultKind;

constexpr std::size_t most_files = 5000;
constexpr std::size_t copy_bytes = std::size_t{1} << 16U;

tl::unexpected<capture::Fault> cannot_write(const fs::path& path) {
    return fail(FaultKind::bad_arguments, visible_path(path) + ": cannot be written",
                "choose a folder that may be written to, with space left");
}

/// Copies `bytes` bytes; false if there are fewer, or they cannot be written.
bool copy(std::istream& from, std::ostream& to, std::uintmax_t bytes) {
    std::vector<char> buffer(copy_bytes);
    while (bytes > 0) {
        const auto part = static_cast<std::streamsize>(std::min<std::uintmax_t>(bytes, buffer.size()));
        from.read(buffer.data(), part);
        if (from.gcount() != part) return false;
        to.write(buffer.data(), part);
        if (!to) return false;
        bytes -= static_cast<std::uintmax_t>(part);
    }
    return true;
}

capture::Result<void> pack_file(const fs::path& folder, const std::string& top, const std::string& path,
                                std::ostream& out) {
    std::error_code error;
    const std::uintmax_t bytes = fs::file_size(folder / path, error);
    if (error) return fail(FaultKind::bad_input_file, visible_path(folder / path) + ": cannot be read");
    const auto header = ustar_header({top + path, bytes});
    if (!header) {
        return fail(FaultKind::bad_input_file,
                    visible_path(folder / path) +
                        ": cannot be packed: its name is too long, or it holds 8 GiB or more",
                    "send the session folder itself instead of a bundle");
    }
    std::ifstream in(folder / path, std::ios::binary);
    out.write(header->data(), static_cast<std::streamsize>(header->size()));
    if (!copy(in, out, bytes)) {
        return fail(FaultKind::bad_input_file, visible_path(folder / path) + ": cannot be packed",
                    "see that there is space left, and that nobody writes to the session");
    }
    const std::string padding(ustar_padding(bytes), '\0');
    out.write(padding.data(), static_cast<std::streamsize>(padding.size()));
    return {};
}

}  // namespace

capture::Result<void> write_bundle(const fs::path& folder, const std::string& number,
                                   const fs::path& bundle) {
    std::vector<std::string> paths;
    for (const FilePart part : {FilePart::contents, FilePart::page}) {
        const auto files = hash_files(folder, part);
        if (!files) return tl::unexpected(files.error());
        for (const FileEntry& entry : *files) paths.push_back(entry.path);
    }
    std::error_code error;
    for (const char* name : {"contents.json", "signature.json"}) {
        if (fs::is_regular_file(folder / name, error)) paths.emplace_back(name);
    }
    std::sort(paths.begin(), paths.end());
    fs::path temporary = bundle;
    temporary += ".part";
    {
        std::ofstream out(temporary, std::ios::binary | std::ios::trunc);
        if (!out) return cannot_write(bundle);
        for (const std::string& path : paths) {
            if (auto packed = pack_file(folder, "assay-" + number + "/", path, out); !packed) {
                fs::remove(temporary, error);
                return packed;
            }
        }
        const std::string end(2 * ustar_block, '\0');
        out.write(end.data(), static_cast<std::streamsize>(end.size()));
        if (!out.flush()) {
            fs::remove(temporary, error);
            return cannot_write(bundle);
        }
    }
    fs::rename(temporary, bundle, error);
    if (error) return cannot_write(bundle);
    return {};
}

capture::Result<void> unpack_bundle(const fs::path& bundle, const fs::path& into) {
    std::ifstream in(bundle, std::ios::binary);
    if (!in) {
        return fail(FaultKind::bad_input_file, visible_path(bundle) + ": cannot be read",
                    "name a session folder or a bundle");
    }
    std::error_code error;
    const std::uintmax_t total = fs::file_size(bundle, error);
    std::uintmax_t at = 0;
    std::string last;  // path of the file before
    const auto refuse = [&](const std::string& what) {
        const std::string where = last.empty() ? std::string{} : ", after " + visible_text(last, 120);
        return fail(FaultKind::verification,
                    fmt::format("{}: {} (byte {}{})", visible_path(bundle), what, at, where),
                    "the bundle is damaged or is none of ours: ask for it again");
    };
    std::set<std::string> names;
    std::string top;
    while (true) {
        UstarBlock block{};
        in.read(block.data(), static_cast<std::streamsize>(block.size()));
        if (at == 0 && !is_ustar(block)) {
            return fail(FaultKind::verification,
                        visible_path(bundle) + ": is neither a session's folder nor a bundle",
                        "name the folder that holds session.json, or the bundle (.tar) made of it");
        }
        if (in.gcount() != static_cast<std::streamsize>(block.size())) return refuse("breaks off");
        if (block == UstarBlock{}) break;
        const auto entry = ustar_entry(block);
        if (!entry) return refuse("holds a header that the program does not write");
        const std::size_t slash = entry->path.find('/');
        const std::string start = slash == std::string::npos ? std::string{} : entry->path.substr(0, slash);
        if (names.empty()) top = start;
        const std::string path = slash == std::string::npos ? std::string{} : entry->path.substr(slash + 1);
        if (start.empty() || start != top || !start.starts_with("assay-") || !is_safe_path(entry->path)) {
            return refuse("names a file outside the session: \"" + visible_text(entry->path, 120) + "\"");
        }
        if (!names.insert(lower_case(path)).second) {
            return refuse("names a file twice: \"" + visible_text(path, 120) + "\"");
        }
        if (names.size() > most_files) return refuse("holds too many files");
        at += block.size();
        if (entry->bytes > total - std::min(total, at)) {
            return refuse("breaks off inside " + visible_text(path, 120));
        }
        const fs::path target = into / path;
        fs::create_directories(target.parent_path(), error);
        if (std::error_code none; error == std::errc::not_a_directory || fs::is_directory(target, none))
            return refuse("has a file and a folder of one name: \"" + visible_text(path, 120) + "\"");
        std::ofstream out(target, std::ios::binary | std::ios::trunc);
        if (!out) return cannot_write(target);
        if (!copy(in, out, entry->bytes) || !out.flush()) return cannot_write(target);
        at += entry->bytes;
        last = path;
        std::string padding(ustar_padding(entry->bytes), '\0');
        in.read(padding.data(), static_cast<std::streamsize>(padding.size()));
        if (in.gcount() != static_cast<std::streamsize>(padding.size())) return refuse("breaks off");
        if (std::any_of(padding.begin(), padding.end(), [](char byte) { return byte != '\0'; })) {
            return refuse("holds something between two files");
        }
        at += padding.size();
    }
    UstarBlock block{};
    in.read(block.data(), static_cast<std::streamsize>(block.size()));
    if (in.gcount() != static_cast<std::streamsize>(block.size()) || block != UstarBlock{}) {
        return refuse("breaks off at its end");
    }
    if (in.peek() != std::ifstream::traits_type::eof()) return refuse("goes on after its end");
    if (names.empty()) return refuse("holds no file");
    return {};
}

TemporaryFolder::~TemporaryFolder() {
    std::error_code error;
    if (!path.empty()) fs::remove_all(path, error);
}

capture::Result<TemporaryFolder> make_temporary_folder() {
    std::error_code error;
    const fs::path place = fs::temp_directory_path(error);
    const auto made = error ? fs::path{} : make_private_folder(place / "assay-");
    if (made.empty()) {
        return fail(FaultKind::bad_arguments, "no temporary folder can be made",
                    "set TMPDIR to a folder with space for the unpacked bundle");
    }
    TemporaryFolder folder;
    folder.path = made;
    return folder;
}

}  // namespace assay::cli
