// The certificate of a session: one self-contained HTML file, the same as PDF (A4 or Letter), and a picture
// of its first page.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "capture/fault.h"
#include "cli/files/session/session.h"

namespace assay::cli {

enum class Paper { a4, letter };

struct PageOptions {
    bool html = true;
    bool pdf = true;
    bool png = true;
    Paper paper = Paper::a4;
    std::string fingerprint{};      // of the contents; empty: the page names none
    std::string key_fingerprint{};  // of the signer; empty: the page is not signed
};

/// Writes certificate.html, certificate.pdf, certificate.png and plots/*.svg into the session's folder. What
/// could not be made is told, one fault each, and everything else is still made. A program that is not
/// installed is a fault of kind bad_arguments that names the package.
[[nodiscard]] std::vector<capture::Fault> write_pages(const Session& session,
                                                      const std::filesystem::path& folder,
                                                      const PageOptions& options);

/// The page as text; `plots` holds the SVG documents by file name, `photographs` the files' bytes by name.
using NamedTexts = std::vector<std::pair<std::string, std::string>>;
std::string certificate_page(const Session& session, const NamedTexts& plots, const PageOptions& options = {},
                             const NamedTexts& photographs = {});

}  // namespace assay::cli
