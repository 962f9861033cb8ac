#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/certificate/plots/curve_lines.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/test_plot.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
// The measure needs the third harmonic in its band to judge by distortion: then two are in it.
constexpr double fewest_harmonics = 2.0;
constexpr int open_circle = 6;

/// Whether the fall of gain stands in for distortion at a point of the curve.
std::vector<bool> judged_by_gain(const CurveLine& line) {
    const auto* frequency_hz = line.curve->find("frequency_hz");
    const auto* in_band = line.curve->find("harmonics_in_band");
    std::vector<bool> by_gain(line.x.size(), false);
    for (std::size_t i = 0; in_band != nullptr && i < line.x.size(); ++i) {
        for (std::size_t k = 0; k < std::min(frequency_hz->size(), in_band->size()); ++k) {
            if ((*frequency_hz)[k] == line.x[i]) by_gain[i] = (*in_band)[k] < fewest_harmonics;
        }
    }
    return by_gain;
}

/// The measured points: filled where distortion judged them, open where the fall of gain did.
void add_points(const CurveLine& line, const std::vector<double>& doubt, std::size_t pen, PlotPanel& panel) {
    const std::vector<bool> by_gain = judged_by_gain(line);
    PlotPoints judged{.error = PlotError::along_y, .pen = pen, .size = 0.7};
    PlotPoints guessed{.error = PlotError::along_y, .pen = pen, .shape = open_circle, .size = 1.1};
    for (std::size_t i = 0; i < line.x.size(); ++i) {
        if (!std::isfinite(line.y[i])) continue;
        const double reach = i < doubt.size() && std::isfinite(doubt[i]) ? doubt[i] : 0.0;
        (by_gain[i] ? guessed : judged)
            .rows.push_back({line.x[i], line.y[i], line.y[i] - reach, line.y[i] + reach});
    }
    if (!guessed.rows.empty()) guessed.legend = "by the fall of gain";
    panel.points.push_back(std::move(judged));
    panel.points.push_back(std::move(guessed));
}

/// The line through the points that distortion judged; thin from there to those of the gain.
void add_curves(const CurveLine& line, const std::string& name, std::size_t pen, PlotPanel& panel) {
    const std::vector<bool> by_gain = judged_by_gain(line);
    PlotCurve solid{.name = name, .unit = "W", .x = line.x, .y = line.y, .pen = pen, .legend = true};
    PlotCurve weak{.name = name + ", by the fall of gain",
                   .unit = "W",
                   .x = line.x,
                   .y = line.y,
                   .pen = pen,
                   .look = PlotLook::thin};
    bool any_weak = false;
    for (std::size_t i = 0; i < line.x.size(); ++i) {
        const bool beside = (i > 0 && by_gain[i - 1]) || (i + 1 < line.x.size() && by_gain[i + 1]);
        if (by_gain[i]) solid.y[i] = nan;
        if (!by_gain[i] && !beside) weak.y[i] = nan;
        any_weak = any_weak || by_gain[i];
    }
    if (any_weak) {
        // What is drawn joins the two; what is read is the guessed points alone.
        PlotCurve joined = weak;
        joined.read = false;
        panel.curves.push_back(std::move(joined));
        for (std::size_t i = 0; i < line.x.size(); ++i) {
            if (!by_gain[i]) weak.y[i] = nan;
        }
        panel.curves.push_back(std::move(weak));
    }
    panel.curves.push_back(std::move(solid));
}

}  // namespace

std::optional<TestPlot> power_bandwidth_plot(const Session& session, const TestRecord& record) {
    if (record.result.measure != "power-bandwidth") return std::nullopt;
    std::vector<std::pair<std::string, std::string>> columns;  // with the limit that each is for
    const std::string limit_on = text_condition(record.result, "limit_on", "thd");
    const auto first_limit = number_condition(record.result, "limit_percent");
    columns.emplace_back("power_w", first_limit
                                        ? fmt::format("{:.6g} % {}", *first_limit, distortion_name(limit_on))
                                        : "the limit");
    for (const auto& [load, numbers] : record.result.loads) {
        for (const auto& [name, curve] : numbers.curves) {
            for (const analysis::Column& column : curve.columns) {
                const std::string limit = limit_words(column.name, limit_on);
                const bool known = std::any_of(columns.begin(), columns.end(),
                                               [&](const auto& one) { return one.first == column.name; });
                if (column.name.starts_with("power_at_") && column.name.ends_with("_percent_w") && !known)
                    columns.emplace_back(column.name, limit);
            }
        }
    }
    PlotPanel panel;
    double low_hz = std::numeric_limits<double>::infinity();
    double high_hz = 0.0;
    double high_w = 0.0;
    std::size_t pen = 0;
    for (const auto& [column, limit] : columns) {
        for (const CurveLine& line : curve_lines(record, "power", column, true)) {
            const bool first = column == "power_w";
            const auto* doubt = first ? line.curve->find("power_expanded_uncertainty_w") : nullptr;
            add_curves(line, line.name + ", " + limit, pen, panel);
            add_points(line,
                       doubt != nullptr && doubt->size() == line.y.size() ? *doubt : std::vector<double>{},
                       pen, panel);
            low_hz = std::min(low_hz, line.x.front());
            high_hz = std::max(high_hz, line.x.back());
            for (std::size_t i = 0; i < line.y.size(); ++i) {
                if (!std::isfinite(line.y[i])) continue;
                const bool has_doubt = doubt != nullptr && i < doubt->size() && std::isfinite((*doubt)[i]);
                high_w = std::max(high_w, line.y[i] + (has_doubt ? (*doubt)[i] : 0.0));
            }
            const auto at_1khz = value_at(line, 1000.0);
            if (pen == 0 && at_1khz)
                panel.rules.push_back(
                    {.value = *at_1khz / 2.0, .text = "half the power at 1 kHz", .place = PlotPlace::left});
            ++pen;
        }
    }
    if (pen == 0) return std::nullopt;
    // One entry tells of the open points, whatever their line.
    bool told = false;
    for (PlotPoints& points : panel.points) {
        if (points.legend.empty()) continue;
        if (told) points.legend.clear();
        points.black = points.black || !told;
        told = true;
    }
    for (const JudgedClaim& claim : session.claims) {
        if (claim.test != record.id || !claim.quantity.ends_with("_hz")) continue;
        for (const ClaimedLimit& limit : claimed_limits(claim, "Hz")) {
            if (!(limit.value > 0.0)) continue;
            panel.rules.push_back({.value = limit.value, .text = limit.text, .upright = true, .claim = true});
            low_hz = std::min(low_hz, limit.value);
            high_hz = std::max(high_hz, limit.value);
        }
    }
    panel.y = {"power at the limit", "W", 0.0, 1.12 * high_w, false, linear_step(0.0, 1.12 * high_w)};
    TestPlot plot{"power",
                  "Power against frequency, at the distortion limits of the test. The thin line is half the "
                  "power at 1 kHz. Open circles and dotted lines: the harmonics that tell of the limit lie "
                  "beyond the band there; the fall of gain judged, as at 1 kHz. Bars: uncertainty.",
                  {}};
    plot.sheet = {frequency_scale(low_hz, high_hz), {std::move(panel)}, 320};
    return plot;
}

}  // namespace assay::cli
