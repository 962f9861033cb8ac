#include "cli/certificate/plots/pair_plot.h"
#include "cli/commands/commands.h"
#include "cli/comparison/comparison.h"
#include "cli/files/posix.h"
#include "cli/files/session/session_file.h"

namespace assay::cli {

namespace {

/// Both units' curves of each test that has them, a file each.
capture::Result<std::vector<std::string>> write_plots(const Session& left, const Session& right,
                                                      const std::filesystem::path& folder) {
    std::vector<std::string> written;
    for (const NamedPlot& plot : pair_plots(left, right)) {
        const auto svg = draw_sheet(plot.plot.sheet, plot.file, left.simulated || right.simulated);
        if (!svg) return tl::unexpected(svg.error());
        std::error_code error;
        std::filesystem::create_directories(folder, error);
        const auto done = write_file_safely(folder / plot.file, *svg);
        if (!done) return tl::unexpected(done.error());
        written.push_back((folder / plot.file).string());
    }
    return written;
}

}  // namespace

int run_compare(const CompareOptions& options, const Manner& manner) {
    const auto left = read_session(options.left);
    if (!left) return report(left.error());
    const auto right = read_session(options.right);
    if (!right) return report(right.error());
    const Comparison comparison = compare(*left, *right, options.within_percent);
    if (manner.json)
        print_result(comparison_json(comparison, *left, *right));
    else
        print_text(comparison_text(comparison, *left, *right));
    if (options.plots.empty()) return exit_done;
    const auto written = write_plots(*left, *right, options.plots);
    if (!written) return report(written.error());
    if (written->empty()) {
        return report(capture::Fault{capture::FaultKind::bad_arguments,
                                     "the two have no impedance and no gain of the same test to draw",
                                     std::nullopt,
                                     "give the tests that belong together the same id in both jobs"});
    }
    if (manner.quiet || manner.json) return exit_done;
    for (const std::string& file : *written) print_result("plot: " + file + "\n");
    return exit_done;
}

}  // namespace assay::cli
