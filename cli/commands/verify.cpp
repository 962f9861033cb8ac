// `assay verify`: is the session what it was when it was made, and do its numbers follow from its captures?
#include <fmt/format.h>

#include <algorithm>

#include "cli/commands/commands.h"
#include "cli/commands/session/evaluate_again.h"
#include "cli/commands/session/session_place.h"
#include "cli/commands/session/verify_report.h"
#include "cli/files/plain_text.h"
#include "cli/files/session/session_file.h"
#include "cli/signature/contents.h"
#include "cli/signature/key.h"
#include "cli/signature/signature.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t most_contents = std::size_t{4} << 20U;
constexpr std::size_t most_session = std::size_t{64} << 20U;

void check_files(const fs::path& folder, const std::string& contents_json, Verification& found) {
    const auto contents = contents_of_text(contents_json, "contents.json");
    if (!contents) return found.fail(contents.error().text);
    const auto files = hash_files(folder, FilePart::contents);
    if (!files) return found.fail(files.error().text);
    for (const FileTrouble& trouble : compare_files(contents->files, *files)) {
        if (trouble.added) {
            found.remarks.push_back(trouble.path + " " + trouble.what + ", and is no part of the session");
        } else {
            found.fail(trouble.path + " " + trouble.what);
        }
    }
    found.files = contents->files.size();
    found.listed_number = contents->number;
}

void check_pages(const fs::path& folder, const SignatureFile& signature, Verification& found) {
    if (!pages_signature_fits(signature)) {
        found.fail("signature.json: the signature does not fit its list of pages");
    }
    const auto pages = hash_files(folder, FilePart::page);
    if (!pages) return found.fail(pages.error().text);
    for (const FileTrouble& trouble : compare_files(signature.pages, *pages)) {
        if (trouble.added) {
            found.remarks.push_back(trouble.path + " " + trouble.what + ", and is not signed");
        } else {
            found.fail(trouble.path + " " + trouble.what);
        }
    }
    found.pages = signature.pages.size();
}

void check_signature(const fs::path& folder, const std::string& contents_json, const std::string& wanted_key,
                     Verification& found) {
    const auto signature = read_signature(folder);
    if (!signature) return found.fail(signature.error().text);
    if (!*signature) {
        if (!wanted_key.empty()) found.fail("the session is not signed, by this key or any other");
        return;
    }
    found.is_signed = true;
    found.key = key_fingerprint((*signature)->public_key);
    if (!contents_signature_fits(**signature, contents_json)) {
        found.fail(
            "the signature does not fit: contents.json or signature.json was changed since it was signed");
    }
    check_pages(folder, **signature, found);
    if (!wanted_key.empty() && wanted_key != found.key) {
        found.fail("the session is signed with the key " + found.key + ", not with " +
                   visible_text(wanted_key, 60));
    }
    const auto own = existing_key();
    found.own_key = own && *own && (*own)->public_key == (*signature)->public_key;
    if ((*signature)->number != found.listed_number) found.fail("signature.json: is for another certificate");
}

void check_numbers(const fs::path& folder, Verification& found) {
    const auto written = read_whole(folder / "session.json", most_session);
    const auto before = read_session(folder);
    if (!before || !written) return found.fail(before ? written.error().text : before.error().text);
    found.number = before->number;
    found.program_version = before->program_version;
    found.simulated = before->simulated;
    if (found.number != found.listed_number && !found.listed_number.empty()) {
        found.fail("contents.json: is of the certificate " + visible_text(found.listed_number, 60) +
                   ", not of " + visible_text(found.number, 60));
    }
    const auto again = evaluate_again(*before, folder);
    if (!again) {
        return found.fail("the numbers cannot be computed again: " + again.error().text);
    }
    found.computed = true;
    found.pairs = pair_quantities(*before, *again);
    found.differences = compare_sessions(*written, *again);
    judge_differences(found);
}

}  // namespace

int run_verify(const VerifyOptions& options, const Manner& manner) {
    auto place = open_session_place(options.session);
    if (!place) return report(place.error());
    const fs::path& folder = place->folder;
    Verification found;
    found.what = options.session.string();
    const auto contents_json = read_whole(folder / "contents.json", most_contents);
    if (contents_json) {
        found.fingerprint = contents_fingerprint(*contents_json);
        check_files(folder, *contents_json, found);
        check_signature(folder, *contents_json, options.key, found);
    } else {
        found.fail("contents.json is missing: whether files were changed cannot be told");
    }
    check_numbers(folder, found);
    if (manner.json) {
        print_result(verification_json(found));
    } else if (!manner.quiet) {
        print_text(verification_text(found));
    }
    if (found.failures.empty()) return exit_done;
    const std::string others =
        found.failures.size() > 1 ? fmt::format(" (and {} more)", found.failures.size() - 1) : std::string{};
    return report({capture::FaultKind::verification, found.what + ": " + found.failures.front() + others,
                   std::nullopt, "do not rely on it: ask whoever sent it for an undamaged copy"});
}

}  // namespace assay::cli
