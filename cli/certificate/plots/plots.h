// The drawings of a test, whatever its measure draws.
#pragma once

#include <string>
#include <vector>

#include "cli/certificate/plots/test_plot.h"

namespace assay::cli {

struct NamedPlot {
    std::string file{};  // "power-4-ohm-level.svg"
    TestPlot plot{};
};

/// In the order in which they stand on the page; none for a test without curves.
std::vector<NamedPlot> plots_of(const Session& session, const TestRecord& record);

/// The SVG document. A fault where gnuplot is not there.
[[nodiscard]] capture::Result<std::string> draw_plot(const Session& session, const NamedPlot& plot);

}  // namespace assay::cli
