// How a reader can check the page: fingerprints, the code for a telephone, photographs with their hashes.
#include <fmt/format.h>

#include "cli/certificate/page/parts.h"
#include "cli/certificate/page/square_code.h"
#include "cli/files/picture/photograph.h"
#include "cli/files/picture/picture_notes.h"
#include "cli/files/plain_text.h"
#include "cli/signature/hash.h"

namespace assay::cli {

void add_provenance(const PageOptions& options, const std::string& number, PageData& page) {
    page.set("paper", options.paper == Paper::letter ? "Letter" : "A4");
    page.set("checkable", PageData{false});
    if (options.fingerprint.empty()) return;
    const bool is_signed = !options.key_fingerprint.empty();
    PageData part;
    part.set("fingerprint", options.fingerprint);
    part.set("signed", PageData{false});
    if (is_signed) part.set("signed", PageData{"key", options.key_fingerprint});
    std::string words = "assay " + visible_text(number, 60) + "\nfingerprint " + options.fingerprint;
    if (is_signed) words += "\nkey " + options.key_fingerprint;
    const auto code = square_code(words);
    part.set("code", PageData{false});
    if (code) part.set("code", PageData{"svg", *code});
    page.set("checkable", part);
}

void add_photographs(const NamedTexts& photographs, PageData& page) {
    PageData list{PageData::type::list};
    bool all_clean = true;
    for (const auto& [file, bytes] : photographs) {
        PageData entry;
        const std::string name = file.substr(file.find_last_of('/') + 1);
        entry.set("name", visible_text(name, 80));
        entry.set("address", data_address(bytes));
        entry.set("hash", hash_text(bytes));
        entry.set("size", fmt::format("{} kB", (bytes.size() + 999) / 1000));
        // A session of an older version, or one that was put together by hand, may still have them.
        const auto without = without_notes(bytes);
        const bool clean = without && *without == bytes;
        all_clean = all_clean && clean;
        entry.set("notes_inside", PageData{!clean});
        list << entry;
    }
    page.set("photographs_clean", PageData{all_clean});
    page.set("photographs_follow", PageData{!photographs.empty()});
    page.set("photographs", list);
}

}  // namespace assay::cli
