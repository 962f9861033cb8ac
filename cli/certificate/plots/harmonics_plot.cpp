// Harmonics: of one level as bars, of a sweep against the frequency of the tone.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/certificate/plots/curve_lines.h"
#include "cli/certificate/plots/test_plot.h"
#include "cli/certificate/plots/text_width.h"
#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

constexpr double room_for_bars = 0.8;
constexpr double narrowest_percent = 1e-7;
constexpr int open_triangle_down = 10;
constexpr std::ptrdiff_t fewest_points = 8;  // of a sweep: fewer are flecks of noise, and no curve

struct Bars {
    std::string load{};
    PlotCurve bars{};
    PlotCurve floor{};
    PlotPoints doubts{};
    PlotPoints hidden{};  // at most so much: the floor hides what there is
};

/// The curve `harmonics` of a load: order, level, its uncertainty, and the floor.
std::optional<Bars> bars_of(const std::string& load, const analysis::Curve& curve, std::size_t index,
                            std::size_t count) {
    const auto* order = curve.find("order");
    const auto* level = curve.find("level_percent");
    const auto* doubt = curve.find("level_expanded_uncertainty_percent");
    const auto* floor = curve.find("floor_percent");
    if (order == nullptr || level == nullptr || order->empty()) return std::nullopt;
    Bars made;
    made.load = load;
    const double width = room_for_bars / static_cast<double>(count);
    const double shift = width * (static_cast<double>(index) - 0.5 * static_cast<double>(count - 1));
    made.bars = {.name = load,
                 .unit = "%",
                 .pen = index,
                 .look = PlotLook::bars,
                 .legend = true,
                 .shift = shift,
                 .width = 0.9 * width};
    made.floor = {.name = load + ", floor", .unit = "%", .pen = index, .look = PlotLook::thin};
    made.doubts = {.error = PlotError::along_y, .pen = index, .black = true, .bare = true};
    made.hidden = {.pen = index, .shape = open_triangle_down, .size = 0.9};
    for (std::size_t i = 0; i < order->size(); ++i) {
        const double at = (*order)[i];
        const bool given = std::isfinite((*level)[i]) && (*level)[i] > 0.0;
        if (given) {
            made.bars.x.push_back(at);
            made.bars.y.push_back((*level)[i]);
            if (doubt != nullptr && (*doubt)[i] > 0.0) {
                made.doubts.rows.push_back({at + shift, (*level)[i],
                                            std::max((*level)[i] - (*doubt)[i], narrowest_percent),
                                            (*level)[i] + (*doubt)[i]});
            }
        }
        if (floor == nullptr || !((*floor)[i] > 0.0)) continue;
        for (const double side : {-0.5, 0.5}) {
            made.floor.x.push_back(at + side);
            made.floor.y.push_back((*floor)[i]);
        }
        if (!given) made.hidden.rows.push_back({at + shift, (*floor)[i], 0.0, 0.0});
    }
    return made;
}

void hold(double value, double& low, double& high) {
    if (!std::isfinite(value) || !(value > narrowest_percent)) return;
    low = std::min(low, value);
    high = std::max(high, value);
}

}  // namespace

std::optional<TestPlot> harmonics_plot(const Session& session, const TestRecord& record) {
    std::vector<std::pair<std::string, const analysis::Curve*>> found;
    for (const auto& [load, numbers] : record.result.loads) {
        for (const auto& [name, curve] : numbers.curves) {
            if (name == "harmonics") found.emplace_back(load, &curve);
        }
    }
    PlotPanel panel;
    double low = 1.0;
    double high = narrowest_percent;
    double last_order = 2.0;
    bool any_floor = false;
    bool any_hidden = false;
    for (std::size_t i = 0; i < found.size(); ++i) {
        auto bars = bars_of(found[i].first, *found[i].second, i, found.size());
        if (!bars) continue;
        for (const double value : bars->bars.y) hold(value, low, high);
        for (const double value : bars->floor.y) hold(value, low, high);
        for (const PlotPoints::Row& row : bars->doubts.rows) hold(row.high, low, high);
        for (const auto* xs : {&bars->bars.x, &bars->floor.x}) {
            for (const double order : *xs) last_order = std::max(last_order, std::floor(order));
        }
        panel.curves.push_back(std::move(bars->bars));
        if (!bars->floor.x.empty()) {
            any_floor = true;
            panel.curves.push_back(std::move(bars->floor));
        }
        if (!bars->hidden.rows.empty() && !any_hidden) bars->hidden.legend = "below the bench's floor";
        any_hidden = any_hidden || !bars->hidden.rows.empty();
        panel.points.push_back(std::move(bars->doubts));
        panel.points.push_back(std::move(bars->hidden));
    }
    if (panel.curves.empty()) return std::nullopt;
    for (const JudgedClaim& claim : session.claims) {
        if (claim.test != record.id || claim.quantity != "thd_percent") continue;
        for (const ClaimedLimit& limit : claimed_limits(claim, "%")) {
            if (!(limit.value > 0.0)) continue;
            panel.rules.push_back({.value = limit.value,
                                   .text = limit.text.empty() ? limit.text : "THD " + limit.text,
                                   .claim = true});
            hold(limit.value, low, high);
        }
    }
    panel.y = {"re fundamental", "%", 0.5 * decade_below(low), decade_above(1.3 * high), true, 0.0};
    if (panel.y.to <= 5.0 * panel.y.from) panel.y.to = 10.0 * panel.y.from;
    TestPlot plot{"harmonics",
                  "The harmonics that the unit adds to the tone: the 2nd at twice its frequency, the 3rd at "
                  "three times. Thin bars: uncertainty.",
                  {}};
    if (any_floor) {
        plot.caption +=
            " Dotted: the floor, below which noise and the bench's own distortion let no number be given; a "
            "triangle stands where the harmonic is lower.";
    }
    plot.sheet = {{"harmonic", "", 1.4, last_order + 0.6, false, 1.0}, {std::move(panel)}, 290};
    return plot;
}

std::optional<TestPlot> harmonics_sweep_plot(const Session&, const TestRecord& record) {
    if (record.result.measure != "response") return std::nullopt;
    constexpr int highest_order = 5;
    PlotSheet sheet;
    double low_hz = std::numeric_limits<double>::infinity();
    double high_hz = 0.0;
    double low = 1e3;
    double high = narrowest_percent;
    std::vector<std::string> names;
    for (int order = 2; order <= highest_order; ++order) {
        for (const CurveLine& line :
             curve_lines(record, "response", fmt::format("harmonic_{}_percent", order), true)) {
            const auto given =
                std::count_if(line.y.begin(), line.y.end(), [](double y) { return std::isfinite(y); });
            if (given < fewest_points) continue;
            auto at = std::find(names.begin(), names.end(), line.name);
            if (at == names.end()) {
                at = names.insert(names.end(), line.name);
                sheet.panels.emplace_back();
            }
            PlotPanel& panel = sheet.panels[static_cast<std::size_t>(at - names.begin())];
            const auto pen = static_cast<std::size_t>(order - 2);
            const bool first_panel = &panel == &sheet.panels.front();
            const std::string ordinal = fmt::format("{}{}", order,
                                                    order == 2   ? "nd"
                                                    : order == 3 ? "rd"
                                                                 : "th");
            panel.curves.push_back({.name = ordinal + " harmonic",
                                    .unit = "%",
                                    .x = line.x,
                                    .y = line.y,
                                    .pen = pen,
                                    .legend = first_panel});
            for (std::size_t i = 0; i < line.y.size(); ++i) {
                if (!std::isfinite(line.y[i])) continue;
                low_hz = std::min(low_hz, line.x[i]);
                high_hz = std::max(high_hz, line.x[i]);
                hold(line.y[i], low, high);
            }
        }
    }
    if (sheet.panels.empty() || !(high_hz > low_hz)) return std::nullopt;
    for (std::size_t p = 0; p < sheet.panels.size(); ++p) {
        PlotPanel& panel = sheet.panels[p];
        // A harmonic may be missing in the first panel alone: its legend would be too.
        panel.y = {names.size() > 1 ? text_within(names[p], 130.0) : "re fundamental",
                   "%",
                   decade_below(low),
                   decade_above(1.1 * high),
                   true,
                   0.0};
        if (names.size() > 1) {
            for (PlotCurve& curve : panel.curves) curve.name = short_text(names[p], 40) + ", " + curve.name;
        }
    }
    sheet.x = frequency_scale(low_hz, high_hz);
    sheet.x.words = "frequency of the tone";
    sheet.height = static_cast<int>(120 + 180 * std::min<std::size_t>(sheet.panels.size(), 4));
    return TestPlot{"harmonics",
                    "Harmonics that the unit adds to a tone, against the frequency of the tone. A line ends "
                    "where the harmonic leaves the band, or noise and the bench's own distortion hide it.",
                    std::move(sheet)};
}

}  // namespace assay::cli
