// The certificate page of a session: one self-contained HTML file, printable on A4.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"
#include "cli/files/session.h"

namespace assay::cli {

/// Writes certificate.html and plots/*.svg into the session's folder. Without gnuplot the page is still
/// written, without plots, and the fault names the package to install.
[[nodiscard]] capture::Result<void> write_certificate(const Session& session,
                                                      const std::filesystem::path& folder);

/// The page as text; `plots` holds one SVG document a test that has a curve, by file name.
std::string certificate_page(const Session& session,
                             const std::vector<std::pair<std::string, std::string>>& plots);

}  // namespace assay::cli
