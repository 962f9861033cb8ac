#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/test_plot.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

struct Point {
    double x = 0.0;
    double distortion_percent = 0.0;  // of the kind that the test's limits are on
};

/// One load's line on the sheet.
struct Line {
    std::string load{};
    const Numbers* numbers = nullptr;
    std::vector<Point> points{};
};

/// Horizontal axis: watts where the curves have them.
struct Axis {
    std::string column = "power_w";
    std::string unit = "W";
    std::string words = "power into the load";
    std::string quantity_end = "_percent_w";
    std::string quantity_start = "power_at_";
};

const analysis::Curve* level_curve(const Numbers& numbers) {
    for (const auto& [name, curve] : numbers.curves) {
        if (name == "level") return &curve;
    }
    return nullptr;
}

std::vector<Line> lines_of(const TestRecord& record, const Axis& axis) {
    const bool with_noise = text_condition(record.result, "limit_on", "thd") == "thd+n";
    std::vector<Line> lines;
    for (const auto& [load, numbers] : record.result.loads) {
        const analysis::Curve* curve = level_curve(numbers);
        if (curve == nullptr) continue;
        const auto* x = curve->find(axis.column);
        const auto* percent = curve->find(with_noise ? "thd_plus_noise_percent" : "thd_percent");
        if (x == nullptr || percent == nullptr) continue;
        Line line{load, &numbers, {}};
        for (std::size_t i = 0; i < std::min(x->size(), percent->size()); ++i) {
            if ((*x)[i] > 0.0 && (*percent)[i] > 0.0) line.points.push_back({(*x)[i], (*percent)[i]});
        }
        if (line.points.size() > 1) lines.push_back(std::move(line));
    }
    return lines;
}

struct Sheet {
    double x_from = 0.0;
    double x_to = 0.0;
    double y_from = 0.0;
    double y_to = 0.0;
};

Sheet sheet_for(const std::vector<Line>& lines, const std::vector<ClaimedLimit>& claimed) {
    double x_low = lines.front().points.front().x;
    double x_high = x_low;
    double y_low = 1.0;  // the limits at 1 and 10 % are always on the sheet
    double y_high = 10.0;
    for (const Line& line : lines) {
        for (const Point& point : line.points) {
            x_low = std::min(x_low, point.x);
            x_high = std::max(x_high, point.x);
            y_low = std::min(y_low, point.distortion_percent);
            y_high = std::max(y_high, point.distortion_percent);
        }
    }
    for (const ClaimedLimit& limit : claimed) {
        x_low = std::min(x_low, limit.value / 1.3);
        x_high = std::max(x_high, limit.value * 1.3);
    }
    constexpr double widest = 1e3;  // what lies further down is of no use to a buyer
    Sheet sheet;
    sheet.x_to = series_above(x_high * 1.02);
    sheet.x_from = series_below(std::max(x_low, sheet.x_to / widest));
    sheet.y_from = decade_below(std::max(y_low, 1e-5));
    sheet.y_to = decade_above(std::min(y_high * 1.2, 1e3));
    return sheet;
}

/// Limits in the names of quantities, given or absent: 1 and 10 of power_at_1_percent_w, ..._10_....
std::set<double> limits_of(const std::vector<Line>& lines, const Axis& axis) {
    std::set<double> limits;
    const auto take = [&](const std::string& name) {
        const auto limit = limit_value(limit_in(name, axis.quantity_start, axis.quantity_end));
        if (limit && *limit > 0.0) limits.insert(*limit);
    };
    for (const Line& line : lines) {
        for (const auto& [name, quantity] : line.numbers->quantities) take(name);
        for (const auto& [name, why] : line.numbers->absent) take(name);
    }
    return limits;
}

/// Each once: two channels often have the same.
std::vector<ClaimedLimit> limits_claimed(const Session& session, const TestRecord& record, const Axis& axis) {
    std::vector<ClaimedLimit> all;
    for (const JudgedClaim& claim : session.claims) {
        const bool here = claim.test == record.id && claim.quantity.starts_with(axis.quantity_start) &&
                          claim.quantity.ends_with(axis.quantity_end);
        if (!here) continue;
        for (const ClaimedLimit& limit : claimed_limits(claim, axis.unit)) {
            const bool known = std::any_of(all.begin(), all.end(), [&](const ClaimedLimit& other) {
                return other.value == limit.value && other.text == limit.text;
            });
            if (limit.value > 0.0 && !known) all.push_back(limit);
        }
    }
    return all;
}

/// Distortion on the curve at a given power, along straight lines on the logarithmic sheet, the last
/// crossing.
std::optional<double> distortion_at(const Line& line, double x) {
    for (std::size_t i = line.points.size(); i-- > 1;) {
        const Point& a = line.points[i - 1];
        const Point& b = line.points[i];
        if (!(std::min(a.x, b.x) <= x && x <= std::max(a.x, b.x)) || a.x == b.x) continue;
        const double part = std::log(x / a.x) / std::log(b.x / a.x);
        return a.distortion_percent * std::pow(b.distortion_percent / a.distortion_percent, part);
    }
    return std::nullopt;
}

/// Where the curve crosses its limits, with the uncertainty of the power.
std::vector<PlotPoints::Row> crossings_of(const Line& line, const Axis& axis, const Sheet& sheet) {
    std::vector<PlotPoints::Row> rows;
    for (const auto& [name, quantity] : line.numbers->quantities) {
        const auto limit = limit_value(limit_in(name, axis.quantity_start, axis.quantity_end));
        if (!limit || !(*limit > 0.0) || !(quantity.value > 0.0)) continue;
        rows.push_back({quantity.value, *limit,
                        std::max(quantity.value - quantity.expanded_uncertainty(), sheet.x_from),
                        quantity.value + quantity.expanded_uncertainty()});
    }
    return rows;
}

/// ": 46.1 ± 1.4 W at 1 % THD", by the first limit that was reached.
std::string note_of(const Line& line, const Axis& axis, const std::string& limit_on) {
    for (const auto& [name, quantity] : line.numbers->quantities) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) continue;
        return ": " + value_text(quantity) + " at " + limit_words(name, limit_on);
    }
    return {};
}

/// Outline of the band that the uncertainty of the horizontal axis makes: the relative uncertainty of the
/// first figure on the curve, as scale and load make it, which is the same for all points.
std::vector<std::pair<double, double>> band_of(const Line& line, const Axis& axis) {
    std::vector<std::pair<double, double>> band;
    for (const auto& [name, quantity] : line.numbers->quantities) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) continue;
        const double relative = quantity.value > 0.0 ? quantity.expanded_uncertainty() / quantity.value : 0.0;
        if (!(relative > 0.0) || relative >= 1.0) return band;
        for (const Point& point : line.points)
            band.emplace_back(point.x * (1.0 - relative), point.distortion_percent);
        for (std::size_t i = line.points.size(); i-- > 0;)
            band.emplace_back(line.points[i].x * (1.0 + relative), line.points[i].distortion_percent);
        return band;
    }
    return band;
}

PlotCurve curve_of(const Line& line, const Axis& axis, const std::string& limit_on, std::size_t pen) {
    PlotCurve curve{.name = line.load,
                    .note = note_of(line, axis, limit_on),
                    .unit = "% " + distortion_name(limit_on),
                    .pen = pen,
                    .legend = true,
                    .band = band_of(line, axis)};
    for (const Point& point : line.points) {
        curve.x.push_back(point.x);
        curve.y.push_back(point.distortion_percent);
    }
    return curve;
}

}  // namespace

std::optional<TestPlot> level_plot(const Session& session, const TestRecord& record) {
    Axis axis;
    std::vector<Line> lines = lines_of(record, axis);
    if (lines.empty()) {
        axis = {"voltage_v", "V", "voltage (RMS)", "_percent_v", "voltage_at_"};
        lines = lines_of(record, axis);
    }
    if (lines.empty()) return std::nullopt;
    const std::vector<ClaimedLimit> claimed = limits_claimed(session, record, axis);
    const Sheet sheet = sheet_for(lines, claimed);
    const std::string limit_on = text_condition(record.result, "limit_on", "thd");
    PlotPanel panel;
    const std::string words = limit_on == "thd+n" ? "distortion and noise (THD+N)" : "distortion (THD)";
    panel.y = {words, "%", sheet.y_from, sheet.y_to, true, 0.0};
    for (const double limit : limits_of(lines, axis)) {
        if (limit < sheet.y_from || limit > sheet.y_to) continue;
        panel.rules.push_back(
            {.value = limit, .text = fmt::format("{:.6g} % limit", limit), .place = PlotPlace::left});
    }
    // Written along the line, where the curve is not: above it before the bend, below it behind.
    double bend = sheet.x_to;
    for (const Line& line : lines) {
        for (const Point& point : line.points) {
            if (point.distortion_percent >= 1.0 && point.distortion_percent < 50.0)
                bend = std::min(bend, point.x);
        }
    }
    for (const ClaimedLimit& limit : claimed) {
        panel.rules.push_back({.value = limit.value,
                               .text = limit.text,
                               .upright = true,
                               .claim = true,
                               .high = limit.value < 0.9 * bend});
    }
    PlotPoints onsets{.legend = "clipping begins", .shape = 6, .size = 1.6, .black = true};
    for (std::size_t i = 0; i < lines.size(); ++i) {
        panel.curves.push_back(curve_of(lines[i], axis, limit_on, i));
        panel.points.push_back(
            {.rows = crossings_of(lines[i], axis, sheet), .error = PlotError::along_x, .pen = i});
        const analysis::Quantity* onset = axis.unit == "W" ? lines[i].numbers->find("clip_onset_w") : nullptr;
        const auto percent = onset != nullptr ? distortion_at(lines[i], onset->value) : std::nullopt;
        if (percent) onsets.rows.push_back({onset->value, *percent, 0.0, 0.0});
    }
    if (!onsets.rows.empty()) panel.points.push_back(std::move(onsets));
    TestPlot plot{"level",
                  "Distortion against output. To the left of the bend the unit works cleanly; where the line "
                  "turns up it begins to clip. Pale bands and short bars: uncertainty of the output.",
                  {}};
    plot.sheet = {{axis.words, axis.unit, sheet.x_from, sheet.x_to, true, 0.0}, {std::move(panel)}, 340};
    return plot;
}

}  // namespace assay::cli
