// Gain with phase, separation and output impedance against frequency.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "cli/certificate/plots/curve_lines.h"
#include "cli/certificate/plots/plot_ends.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/test_plot.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

struct Kind {
    std::string_view measure;
    std::string_view curve;
    std::string_view column;
    std::string_view file;
    std::string_view words;
    std::string_view unit;
    bool log_y = false;
    std::string_view caption;
};
constexpr auto kinds = std::to_array<Kind>(
    {{"response", "response", "magnitude_db", "response", "gain", "dB", false,
      "Gain against frequency. Flat is even; the thin lines stand 1 and 3 dB below the gain at 1 kHz. "
      "Dotted, to the scale on the right: phase."},
     {"separation", "separation", "separation_db", "separation", "separation", "dB", false,
      "How far below the driven channel the silent one stays. Higher is better. Triangles: at least so much; "
      "noise hides the rest."},
     {"output-impedance", "output_impedance", "magnitude_ohm", "output-impedance", "output impedance", "Ω",
      true,
      "Output impedance against frequency: the lower, the firmer the hold on the loudspeaker. Pale: "
      "uncertainty."}});

std::vector<PlotRule> claims_of(const Session& session, const TestRecord& record) {
    std::vector<PlotRule> all;
    for (const JudgedClaim& claim : session.claims) {
        const bool upright = claim.quantity.ends_with("_hz");
        const bool ohms = claim.quantity == "output_impedance_1khz_ohm";
        const bool level = claim.quantity == "separation_1khz_db" || claim.quantity == "gain_1khz_db" || ohms;
        if (claim.test != record.id || (!upright && !level)) continue;
        for (const ClaimedLimit& limit : claimed_limits(claim, upright ? "Hz" : ohms ? "ohm" : "dB")) {
            if ((upright || ohms) && !(limit.value > 0.0)) continue;
            all.push_back({.value = limit.value,
                           .text = limit.text.empty() || upright ? limit.text : limit.text + " at 1 kHz",
                           .upright = upright,
                           .claim = true});
        }
    }
    return all;
}

PlotScale scale_of(const Kind& kind, const PlotEnds& span) {
    const std::string words(kind.words);
    const std::string unit(kind.unit);
    if (kind.log_y) {
        return {words, unit, decade_below(span.low), decade_above(span.high * 1.05), true, 0.0};
    }
    PlotScale scale = scale_around(words, unit, span.low, span.high);
    // Half a decibel over the whole height would make hills of nothing.
    const double least = kind.file == "response" ? 6.0 : 20.0;
    if (scale.to - scale.from < least) scale = scale_around(words, unit, span.high - least, span.high);
    return scale;
}

/// What the session says of the curve's uncertainty: a figure at 1 kHz that holds for all points (the
/// scale's), or that of each point (k = 2).
std::vector<double> doubts_of(const Kind& kind, const CurveLine& line) {
    if (const auto* expanded = line.curve->find("expanded_uncertainty_db")) return *expanded;
    if (const auto* scatter = line.curve->find("scatter_ohm")) {
        std::vector<double> doubts = *scatter;
        for (double& doubt : doubts) doubt *= analysis::Quantity::coverage_factor;
        return doubts;
    }
    const analysis::Quantity* at_1khz = line.numbers->find(std::string(kind.words) + "_1khz_db");
    const double doubt = at_1khz != nullptr ? at_1khz->expanded_uncertainty() : 0.0;
    return doubt > 0.0 ? std::vector<double>(line.y.size(), doubt) : std::vector<double>{};
}

/// The -3 and -1 dB limits with their uncertainty.
PlotPoints limits_of(const CurveLine& line, double reference_db, std::size_t pen) {
    PlotPoints points{.error = PlotError::along_x, .pen = pen, .shape = 7, .size = 0.6};
    for (const auto& [name, down_db] : {std::pair{"lower_limit_3db_hz", 3.0},
                                        {"upper_limit_3db_hz", 3.0},
                                        {"lower_limit_1db_hz", 1.0},
                                        {"upper_limit_1db_hz", 1.0}}) {
        const analysis::Quantity* limit = line.numbers->find(name);
        if (limit == nullptr || !(limit->value > 0.0)) continue;
        const double doubt_hz = std::min(limit->expanded_uncertainty(), 0.9 * limit->value);
        points.rows.push_back(
            {limit->value, reference_db - down_db, limit->value - doubt_hz, limit->value + doubt_hz});
    }
    return points;
}

/// The phases of all lines, with a scale on the right in steps of 45 degrees.
void add_phases(const std::vector<CurveLine>& lines, PlotPanel& panel) {
    PlotEnds span;
    span.hold(0.0);
    bool any = false;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const auto* phase = lines[i].curve->find("phase_deg");
        if (phase == nullptr) continue;
        for (const double value : *phase) span.hold(value);
        panel.curves.push_back({.name = lines[i].name + ", phase",
                                .unit = "°",
                                .x = *lines[i].curve->find("frequency_hz"),
                                .y = *phase,
                                .pen = i,
                                .look = PlotLook::thin,
                                .second = true});
        any = true;
    }
    if (!any) return;
    PlotScale scale{
        "phase", "°", 45.0 * std::floor(span.low / 45.0 - 0.01), 45.0 * std::ceil(span.high / 45.0 + 0.01),
        false,   45.0};
    if (scale.to - scale.from > 360.0) scale.step = 180.0;
    panel.y2 = scale;
}

/// Where noise hides the separation: at least so much.
void add_least(const CurveLine& line, std::size_t pen, PlotEnds& span, PlotPanel& panel) {
    const auto* least = line.curve->find("separation_at_least_db");
    if (least == nullptr) return;
    PlotPoints points{.legend = "at least", .pen = pen, .shape = 8, .size = 0.9};
    for (std::size_t i = 0; i < std::min(least->size(), line.y.size()); ++i) {
        span.hold((*least)[i]);
        if (!std::isfinite(line.y[i]) && std::isfinite((*least)[i]))
            points.rows.push_back({line.x[i], (*least)[i], 0.0, 0.0});
    }
    if (!points.rows.empty()) panel.points.push_back(std::move(points));
}

}  // namespace

std::optional<TestPlot> frequency_plot(const Session& session, const TestRecord& record) {
    const auto* kind = std::find_if(kinds.begin(), kinds.end(),
                                    [&](const Kind& one) { return one.measure == record.result.measure; });
    if (kind == kinds.end()) return std::nullopt;
    const std::vector<CurveLine> lines =
        curve_lines(record, std::string(kind->curve), std::string(kind->column), kind->log_y);
    if (lines.empty()) return std::nullopt;
    const bool response = kind->file == "response";
    PlotPanel panel;
    PlotEnds x;
    PlotEnds y;
    panel.rules = claims_of(session, record);
    for (const PlotRule& claim : panel.rules) (claim.upright ? x : y).hold(claim.value);
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const CurveLine& line = lines[i];
        const auto reference = value_at(line, 1000.0);
        for (std::size_t k = 0; k < line.y.size(); ++k) {
            x.hold(line.x[k]);
            // What lies far below the gain at 1 kHz would press the rest flat.
            if (!response || !reference || line.y[k] > *reference - 20.0) y.hold(line.y[k]);
        }
        panel.curves.push_back({.name = line.name,
                                .unit = std::string(kind->unit),
                                .x = line.x,
                                .y = line.y,
                                .pen = i,
                                .legend = true,
                                .band = band_along_y(line.x, line.y, doubts_of(*kind, line))});
        if (response && reference) {
            y.hold(*reference - 4.0);
            panel.points.push_back(limits_of(line, *reference, i));
            // One set of thin lines: those of several loads would lie too close to be told apart.
            if (i == 0) {
                panel.rules.push_back(
                    {.value = *reference - 3.0, .text = "-3 dB", .place = PlotPlace::middle});
                panel.rules.push_back(
                    {.value = *reference - 1.0, .text = "-1 dB", .place = PlotPlace::middle});
            }
        }
        add_least(line, i, y, panel);
    }
    if (response) add_phases(lines, panel);
    panel.y = scale_of(*kind, y);
    if (kind->log_y) {
        for (PlotCurve& curve : panel.curves) {
            for (auto& [at, value] : curve.band) value = std::max(value, panel.y.from);
        }
    }
    TestPlot plot{std::string(kind->file), std::string(kind->caption), {}};
    plot.sheet = {frequency_scale(x.low, x.high), {std::move(panel)}, 300};
    return plot;
}

}  // namespace assay::cli
