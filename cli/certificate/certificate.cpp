#include "cli/certificate/certificate.h"

#include <algorithm>
#include <system_error>

#include "cli/certificate/gnuplot.h"
#include "cli/certificate/level_plot.h"
#include "cli/certificate/page.h"
#include "cli/certificate/page_parts.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {

std::string certificate_page_from(std::string_view page_template, const Session& session,
                                  const NamedPlots& plots) {
    NamedPlots parts;
    for (const auto& [file, svg] : plots) parts.emplace_back(file, inline_svg(svg));
    PageData page;
    add_identity(session, page);
    page.set("claims", claims_part(session));
    const bool rulers = std::any_of(session.claims.begin(), session.claims.end(),
                                    [](const JudgedClaim& claim) { return claim.measured.has_value(); });
    page.set("rulers", PageData{rulers});
    page.set("tests", tests_part(session, parts));
    PageData rows = limits_rows(session);
    page.set("limits", rows.is_empty_list() ? PageData{false} : PageData{"rows", rows});
    page.set("methods", methods_part(session));
    page.set("not_tested", not_tested_part(session));
    add_bench(session, page);
    kainjow::mustache::mustache sheet{std::string(page_template)};
    return sheet.render(page);
}

std::string certificate_page(const Session& session, const NamedPlots& plots) {
    return certificate_page_from(certificate_page_template, session, plots);
}

capture::Result<void> write_certificate(const Session& session, const std::filesystem::path& folder) {
    NamedPlots plots;
    capture::Result<void> drawn;
    for (const TestRecord& record : session.tests) {
        if (!has_level_curve(record)) continue;
        auto svg = level_plot(session, record);
        if (!svg) {
            if (drawn) drawn = tl::unexpected(svg.error());
            continue;
        }
        const std::string file = plot_file_name(record.id);
        std::error_code error;
        std::filesystem::create_directories(folder / "plots", error);
        if (const auto written = write_file_safely(folder / "plots" / file, *svg); !written) return written;
        plots.emplace_back(file, std::move(*svg));
    }
    // The page is written in any case: numbers without a picture are worth more than neither.
    const auto written = write_file_safely(folder / "certificate.html", certificate_page(session, plots));
    return written ? drawn : written;
}

}  // namespace assay::cli
