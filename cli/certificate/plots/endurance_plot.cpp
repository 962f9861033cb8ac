#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "cli/certificate/plots/curve_lines.h"
#include "cli/certificate/plots/plot_ends.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/test_plot.h"

namespace assay::cli {
namespace {

struct Column {
    std::string_view name;
    std::string_view words;
    std::string_view unit;
    bool from_zero = false;
};
constexpr auto plot_columns = std::to_array<Column>({{"voltage_v", "output (RMS)", "V", true},
                                                     {"power_w", "power", "W", true},
                                                     {"thd_percent", "THD", "%", false},
                                                     {"supply_v", "supply", "V", true}});

}  // namespace

std::optional<TestPlot> endurance_plot(const Session&, const TestRecord& record) {
    if (record.result.measure != "endurance") return std::nullopt;
    PlotSheet sheet;
    double last_minute = 0.0;
    for (const Column& column : plot_columns) {
        PlotPanel panel;
        PlotEnds ends;
        const auto lines = curve_lines(record, "log", std::string(column.name), false, "minutes");
        for (std::size_t i = 0; i < lines.size(); ++i) {
            panel.curves.push_back({.name = lines[i].name,
                                    .unit = std::string(column.unit),
                                    .x = lines[i].x,
                                    .y = lines[i].y,
                                    .pen = i,
                                    .legend = sheet.panels.empty()});
            for (std::size_t k = 0; k < lines[i].y.size(); ++k) {
                last_minute = std::max(last_minute, lines[i].x[k]);
                ends.hold(lines[i].y[k]);
            }
        }
        if (lines.empty() || !std::isfinite(ends.low)) continue;
        const auto [low, high] = ends;
        // An output that holds is a level line near the top, not a hill of noise; distortion covers decades.
        const double top = high > 0.0 ? 1.15 * high : 1.0;
        if (column.from_zero) {
            panel.y = {std::string(column.words),  std::string(column.unit), 0.0, top, false,
                       2.0 * linear_step(0.0, top)};
        } else if (low > 0.0) {
            panel.y = {std::string(column.words),
                       std::string(column.unit),
                       decade_below(low),
                       decade_above(1.1 * high),
                       true,
                       0.0};
        } else {
            panel.y = scale_around(std::string(column.words), std::string(column.unit), low, high);
        }
        sheet.panels.push_back(std::move(panel));
    }
    if (sheet.panels.empty() || !(last_minute > 0.0)) return std::nullopt;
    sheet.x = {"time", "min", 0.0, last_minute, false, linear_step(0.0, last_minute)};
    sheet.height = 110 + 130 * static_cast<int>(sheet.panels.size());
    return TestPlot{"log",
                    "The test over its minutes: what left the unit, and how clean it was. A line that falls "
                    "tells of a supply or a protection that gives way.",
                    std::move(sheet)};
}

}  // namespace assay::cli
