// `assay certify`: the pages again, the curves as CSV, signature and bundle.
#include <fmt/format.h>

#include "cli/certificate/certificate.h"
#include "cli/commands/commands.h"
#include "cli/files/curves/curve_tables.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/session/session_file.h"
#include "cli/signature/bundle.h"
#include "cli/signature/contents.h"
#include "cli/signature/key.h"
#include "cli/signature/signature.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;
using capture::Fault;
using capture::FaultKind;
using capture::Result;

constexpr std::size_t most_contents = std::size_t{4} << 20U;

/// The text of contents.json; made where there is none yet.
Result<std::string> contents_of(const fs::path& folder, const std::string& number) {
    std::error_code error;
    if (!fs::exists(folder / "contents.json", error)) return write_contents(folder, number);
    return read_whole(folder / "contents.json", most_contents);
}

/// A session whose files are no longer those that the run left must not be signed or sent.
Result<void> unchanged(const fs::path& folder, const std::string& contents_json) {
    const auto contents = contents_of_text(contents_json, (folder / "contents.json").string());
    if (!contents) return tl::unexpected(contents.error());
    const auto found = hash_files(folder, FilePart::contents);
    if (!found) return tl::unexpected(found.error());
    const auto troubles = compare_files(contents->files, *found);
    if (troubles.empty()) return {};
    return capture::fail(FaultKind::verification,
                         (folder / troubles.front().path).string() + ": " + troubles.front().what +
                             " since the session was made",
                         "put the file back as it was; `assay verify` lists all that differs");
}

/// The key for the signature: our own if it is asked for, or if the session is already signed by it. None for
/// a session that is to stay unsigned. Pages that somebody else signed are not written over.
Result<std::optional<KeyPair>> signing_key(const CertifyOptions& options) {
    if (options.sign) {
        const auto key = own_key();
        if (!key) return tl::unexpected(key.error());
        return std::optional<KeyPair>{*key};
    }
    const auto signature = read_signature(options.session);
    if (!signature) return tl::unexpected(signature.error());
    if (!*signature) return std::optional<KeyPair>{};
    const auto key = existing_key();
    if (!key) return tl::unexpected(key.error());
    if (*key && (*key)->public_key == (*signature)->public_key) return *key;
    return capture::fail(
        FaultKind::bad_arguments,
        options.session.string() + ": is signed with another key (" +
            key_fingerprint((*signature)->public_key) + "), and its pages are part of what is signed",
        "use --sign to sign it with your own key instead, or work on a copy without signature.json");
}

bool writes_pages(const CertifyOptions& options) {
    return options.format != "csv";
}

PageOptions page_options(const CertifyOptions& options, const std::string& contents_json,
                         const std::optional<KeyPair>& key) {
    PageOptions pages;
    // A signature covers all pages: they are made together then, or an older one would name another key.
    const bool all = options.format.empty() || key.has_value();
    pages.html = all || options.format == "html";
    pages.pdf = all || options.format == "pdf" || options.format == "png";
    pages.png = all || options.format == "png";
    pages.paper = options.paper == "letter" ? Paper::letter : Paper::a4;
    pages.fingerprint = contents_fingerprint(contents_json);
    if (key) pages.key_fingerprint = key_fingerprint(key->public_key);
    return pages;
}

Result<void> write_signature(const fs::path& folder, const std::string& number,
                             const std::string& contents_json, const KeyPair& key) {
    auto pages = hash_files(folder, FilePart::page);
    if (!pages) return tl::unexpected(pages.error());
    return write_file_safely(folder / "signature.json",
                             signature_text(make_signature(key, number, contents_json, std::move(*pages))));
}

}  // namespace

int run_certify(const CertifyOptions& options, const Manner& manner) {
    const fs::path& folder = options.session;
    const auto session = read_session(folder);
    if (!session) return report(session.error());
    const auto key = signing_key(options);
    if (!key) return report(key.error());
    const auto contents_json = contents_of(folder, session->number);
    if (!contents_json) return report(contents_json.error());
    if (*key || options.bundle) {
        if (const auto checked = unchanged(folder, *contents_json); !checked) return report(checked.error());
    }
    int status = exit_done;
    std::vector<std::string> written;
    if (options.format == "csv") {
        const auto tables = write_curve_tables(*session, folder / "curves");
        if (!tables) return report(tables.error());
        for (const fs::path& table : *tables) written.push_back(fmt::format("curve: {}", table.string()));
    }
    if (writes_pages(options)) {
        const PageOptions pages = page_options(options, *contents_json, *key);
        const auto faults = write_pages(*session, folder, pages);
        if (!faults.empty()) {
            // One line an error, whatever was missing.
            Fault all = faults.front();
            for (std::size_t i = 1; i < faults.size(); ++i) {
                all.text += "; " + faults[i].text;
                if (faults[i].mend != faults[i - 1].mend) all.mend += "; " + faults[i].mend;
            }
            status = report(all);
        }
        std::error_code error;
        for (const auto& [wanted, name] :
             {std::pair{pages.html, "certificate.html"}, std::pair{pages.pdf, "certificate.pdf"},
              std::pair{pages.png, "certificate.png"}}) {
            if (wanted && fs::exists(folder / name, error)) {
                written.push_back("certificate: " + (folder / name).string());
            }
        }
    }
    if (*key) {
        const auto done = write_signature(folder, session->number, *contents_json, **key);
        if (!done) return report(done.error());
        written.push_back("signed with key: " + key_fingerprint((*key)->public_key));
    }
    written.push_back("fingerprint: " + contents_fingerprint(*contents_json));
    if (options.bundle) {
        const std::string number = session->number.empty() ? "session" : plain_name(session->number, 60);
        const fs::path bundle = folder / ("assay-" + number + ".tar");
        const auto packed = write_bundle(folder, number, bundle);
        if (!packed) return report(packed.error());
        written.push_back("bundle: " + bundle.string());
    }
    if (!manner.quiet) {
        for (const std::string& line : written) print_result(line + "\n");
    }
    return status;
}

}  // namespace assay::cli
