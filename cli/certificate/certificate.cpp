#include "cli/certificate/certificate.h"

#include <algorithm>
#include <system_error>

#include "cli/certificate/page/first_sheet.h"
#include "cli/certificate/page/page.h"
#include "cli/certificate/page/parts.h"
#include "cli/certificate/paper.h"
#include "cli/certificate/plots/gnuplot.h"
#include "cli/certificate/plots/plots.h"
#include "cli/certificate/plots/supply_plot.h"
#include "cli/files/picture/photograph.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"

namespace assay::cli {

std::string certificate_page_from(std::string_view page_template, const Session& session,
                                  const NamedPlots& plots, const PageOptions& options,
                                  const NamedTexts& photographs) {
    NamedPlots parts;
    for (const auto& [file, svg] : plots) parts.emplace_back(file, inline_svg(svg));
    PageData page;
    const double unit_mm = add_identity(session, page);
    add_findings(session, page);
    const bool rulers = std::any_of(session.claims.begin(), session.claims.end(),
                                    [](const JudgedClaim& claim) { return claim.measured.has_value(); });
    page.set("rulers", PageData{rulers});
    std::string first = first_plot(session, parts);
    if (!add_first_sheet(session, parts, first, options, unit_mm, page)) first.clear();
    page.set("power", power_part(session, parts));
    page.set("rating", rating_part(session));
    page.set("tests", tests_part(session, parts, first));
    PageData rows = limits_rows(session);
    page.set("limits", rows.is_empty_list() ? PageData{false} : PageData{"rows", rows});
    page.set("methods", methods_part(session));
    page.set("not_tested", not_tested_part(session));
    add_bench(session, page);
    add_provenance(options, session.number, page);
    add_photographs(photographs, page);
    kainjow::mustache::mustache sheet{std::string(page_template)};
    return sheet.render(page);
}

std::string certificate_page(const Session& session, const NamedTexts& plots, const PageOptions& options,
                             const NamedTexts& photographs) {
    return certificate_page_from(certificate_page_template, session, plots, options, photographs);
}

namespace {

/// Draws every plot, writes it below plots/, and gives those that could be drawn.
NamedPlots draw_plots(const Session& session, const std::filesystem::path& folder,
                      std::vector<capture::Fault>& faults) {
    std::vector<NamedPlot> wanted;
    for (const TestRecord& record : session.tests) {
        for (NamedPlot& plot : plots_of(session, record)) wanted.push_back(std::move(plot));
    }
    if (auto supply = supply_plot(session)) wanted.push_back({supply_plot_file, std::move(*supply)});
    NamedPlots plots;
    for (const NamedPlot& plot : wanted) {
        auto svg = draw_plot(session, plot);
        if (!svg) {
            // One remark tells of a program that is not there; the others would only repeat it.
            if (faults.empty() || faults.back().text != svg.error().text) faults.push_back(svg.error());
            continue;
        }
        std::error_code error;
        std::filesystem::create_directories(folder / "plots", error);
        if (const auto written = write_file_safely(folder / "plots" / plot.file, *svg); !written) {
            faults.push_back(written.error());
        }
        plots.emplace_back(plot.file, std::move(*svg));
    }
    return plots;
}

NamedTexts photographs_of(const Session& session, const std::filesystem::path& folder,
                          std::vector<capture::Fault>& faults) {
    NamedTexts photographs;
    for (const std::string& file : session.unit.photographs) {
        // Names come from a session that may have been made elsewhere: nothing outside the folder is shown.
        const bool inside = file.starts_with("photographs/") && file.find("..") == std::string::npos;
        const auto bytes = inside ? read_photograph(folder / file)
                                  : capture::Result<std::string>(capture::fail(
                                        capture::FaultKind::bad_input_file,
                                        visible_text(file, 120) + ": is no photograph of this session"));
        if (bytes) {
            photographs.emplace_back(file, *bytes);
        } else {
            faults.push_back(bytes.error());
        }
    }
    return photographs;
}

}  // namespace

std::vector<capture::Fault> write_pages(const Session& session, const std::filesystem::path& folder,
                                        const PageOptions& options) {
    std::vector<capture::Fault> faults;
    if (!options.html && !options.pdf && !options.png) return faults;
    const NamedPlots plots = draw_plots(session, folder, faults);
    const NamedTexts photographs = photographs_of(session, folder, faults);
    // The page is written in any case: numbers without a picture are worth more than neither.
    const std::string page = certificate_page(session, plots, options, photographs);
    if (options.html) {
        if (const auto written = write_file_safely(folder / "certificate.html", page); !written) {
            faults.push_back(written.error());
            return faults;
        }
    }
    if (!options.pdf && !options.png) return faults;
    const auto pdf = pdf_of_page(page);
    if (!pdf) {
        faults.push_back(pdf.error());
        return faults;
    }
    const std::filesystem::path file = folder / "certificate.pdf";
    if (const auto written = write_file_safely(file, *pdf); !written) {
        faults.push_back(written.error());
        return faults;
    }
    if (!options.png) return faults;
    const auto picture = picture_of_first_page(file);
    if (!picture) {
        faults.push_back(picture.error());
    } else if (const auto written = write_file_safely(folder / "certificate.png", *picture); !written) {
        faults.push_back(written.error());
    }
    return faults;
}

}  // namespace assay::cli
