#include "cli/certificate/plots/supply_plot.h"

#include <algorithm>

#include "cli/report/power_text.h"

namespace assay::cli {
namespace {

constexpr std::size_t fewest = 3;

struct Point {
    double volts = 0.0;
    double watts = 0.0;
    double expanded_w = 0.0;
};

struct Series {
    std::string name{};
    std::vector<Point> points{};
};

/// "1 channel, 4.03 Ω".
std::string name_of(const PowerRow& row) {
    return driven_words(row) + ", " + load_words(row, 0);
}

std::vector<Series> series_of(const PowerTable& table) {
    std::vector<Series> all;
    const std::string limit = headline_limit(table);
    for (const PowerLine& line : table.lines) {
        if (line.kind != LineKind::supply || line.limit != limit || line.tests.size() < fewest) continue;
        Series series;
        for (std::size_t i = line.tests.size(); i-- > 0;) {
            const PowerRow* row = table.row(line.tests[i]);
            const PowerAtLimit* power = row != nullptr ? row->at(limit) : nullptr;
            if (power == nullptr || !power->total) continue;
            series.name = name_of(*row);
            series.points.push_back(
                {line.from[i], power->total->value, power->total->expanded_uncertainty()});
        }
        if (series.points.size() >= fewest) all.push_back(std::move(series));
    }
    return all;
}

}  // namespace

std::optional<TestPlot> supply_plot(const Session& session) {
    const PowerTable table = power_table(session);
    const std::vector<Series> all = series_of(table);
    if (all.empty()) return std::nullopt;
    PlotPanel panel;
    double low_v = all.front().points.front().volts;
    double high_v = low_v;
    double high_w = 0.0;
    for (std::size_t i = 0; i < all.size(); ++i) {
        PlotCurve curve{.name = all[i].name, .unit = "W", .pen = i, .legend = true};
        PlotPoints points{.error = PlotError::along_y, .pen = i, .size = 0.9};
        for (const Point& point : all[i].points) {
            curve.x.push_back(point.volts);
            curve.y.push_back(point.watts);
            points.rows.push_back(
                {point.volts, point.watts, point.watts - point.expanded_w, point.watts + point.expanded_w});
            low_v = std::min(low_v, point.volts);
            high_v = std::max(high_v, point.volts);
            high_w = std::max(high_w, point.watts + point.expanded_w);
        }
        panel.curves.push_back(std::move(curve));
        panel.points.push_back(std::move(points));
    }
    const double margin = 0.08 * (high_v - low_v);
    panel.y = {
        "all loads, " + limit_heading(table, headline_limit(table)), "W", 0.0, 1.1 * high_w, false, 0.0};
    TestPlot plot{"supply", supply_plot_caption, {}};
    plot.sheet = {{"supply at the terminals", "V", low_v - margin, high_v + margin, false, 0.0},
                  {std::move(panel)},
                  320};
    return plot;
}

}  // namespace assay::cli
