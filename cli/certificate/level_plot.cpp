#include "cli/certificate/level_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>
#include <string_view>

#include "cli/certificate/gnuplot.h"
#include "cli/certificate/readout.h"
#include "cli/files/basis.h"
#include "cli/files/number_words.h"
#include "cli/files/plain_text.h"
#include "cli/files/quantity_words.h"
#include "cli/files/show.h"

namespace assay::cli {
namespace {

// Apart in lightness as well as in hue, and each with a dash of its own: they stay apart in grey.
struct Pen {
    std::string_view colour;
    std::string_view dash;
    int point;
};
constexpr std::array<Pen, 4> pens{{{"#12405f", "solid", 7},
                                   {"#c2571a", "(12,5)", 9},
                                   {"#3f7d4e", "(3,4)", 5},
                                   {"#7a4a86", "(14,4,3,4)", 13}}};

struct Point {
    double x = 0.0;
    double thd_percent = 0.0;
};

/// One load's line on the sheet.
struct Line {
    std::string load{};
    const Findings* findings = nullptr;
    std::vector<Point> points{};
};

/// Horizontal axis: watts where the curves have them.
struct Axis {
    std::string column = "power_w";
    std::string unit = "W";
    std::string label = "power into the load / W";
    std::string quantity_end = "_percent_w";
    std::string quantity_start = "power_at_";
};

const analysis::Curve* level_curve(const Findings& findings) {
    for (const auto& [name, curve] : findings.curves) {
        if (name == "level") return &curve;
    }
    return nullptr;
}

std::vector<Line> lines_of(const TestRecord& record, const Axis& axis) {
    std::vector<Line> lines;
    for (const auto& [load, findings] : record.result.loads) {
        const analysis::Curve* curve = level_curve(findings);
        if (curve == nullptr) continue;
        const auto* x = curve->find(axis.column);
        const auto* thd = curve->find("thd_percent");
        if (x == nullptr || thd == nullptr) continue;
        Line line{load, &findings, {}};
        for (std::size_t i = 0; i < std::min(x->size(), thd->size()); ++i) {
            if ((*x)[i] > 0.0 && (*thd)[i] > 0.0) line.points.push_back({(*x)[i], (*thd)[i]});
        }
        if (line.points.size() > 1) lines.push_back(std::move(line));
    }
    return lines;
}

/// The nearest number of the series 1, 2, 5 that is not above (or not below) the value.
double step_below(double value) {
    const double decade = std::pow(10.0, std::floor(std::log10(value) + 1e-9));
    const double leading = value / decade * (1.0 + 1e-9);
    return decade * (leading >= 5.0 ? 5.0 : leading >= 2.0 ? 2.0 : 1.0);
}
double step_above(double value) {
    const double below = step_below(value);
    if (below * (1.0 + 1e-9) >= value) return below;
    const double leading = below / std::pow(10.0, std::floor(std::log10(below) + 1e-9));
    return below * (leading > 4.0 || leading < 1.5 ? 2.0 : 2.5);
}

std::string tick(double value) {
    return fmt::format("\"{:.6g}\" {:.9g}", value, value);
}

/// Ticks at 1, 2, 5 of each decade, or at decades only.
std::string ticks(double from, double to, bool many) {
    std::string list;
    const int first = static_cast<int>(std::floor(std::log10(from) + 1e-9));
    const int last = static_cast<int>(std::ceil(std::log10(to)));
    for (int exponent = first; exponent <= last; ++exponent) {
        const double decade = std::pow(10.0, exponent);
        for (const double leading : {1.0, 2.0, 5.0}) {
            const double value = leading * decade;
            if (value < from * 0.999 || value > to * 1.001 || (many && leading != 1.0)) continue;
            list += (list.empty() ? "" : ", ") + tick(value);
        }
    }
    return list;
}

struct Sheet {
    double x_from = 0.0;
    double x_to = 0.0;
    double y_from = 0.0;
    double y_to = 0.0;
};

Sheet sheet_for(const std::vector<Line>& lines, const std::vector<double>& claimed) {
    double x_low = lines.front().points.front().x;
    double x_high = x_low;
    double y_low = 1.0;  // the limits at 1 and 10 % are always on the sheet
    double y_high = 10.0;
    for (const Line& line : lines) {
        for (const Point& point : line.points) {
            x_low = std::min(x_low, point.x);
            x_high = std::max(x_high, point.x);
            y_low = std::min(y_low, point.thd_percent);
            y_high = std::max(y_high, point.thd_percent);
        }
    }
    for (const double value : claimed) {
        x_low = std::min(x_low, value / 1.3);
        x_high = std::max(x_high, value * 1.3);
    }
    constexpr double widest = 1e3;  // what lies further down is of no use to a buyer
    Sheet sheet;
    sheet.x_to = step_above(x_high * 1.02);
    sheet.x_from = step_below(std::max(x_low, sheet.x_to / widest));
    sheet.y_from = std::pow(10.0, std::floor(std::log10(std::max(y_low, 1e-5))));
    sheet.y_to = std::pow(10.0, std::ceil(std::log10(std::min(y_high * 1.2, 1e3))));
    return sheet;
}

/// Limits in the names of quantities, given or absent: 1 and 10 of power_at_1_percent_w, ..._10_....
std::set<double> limits_of(const std::vector<Line>& lines, const Axis& axis) {
    std::set<double> limits;
    const auto take = [&](const std::string& name) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) return;
        const double limit = std::atof(limit_words(name, "thd").c_str());
        if (limit > 0.0) limits.insert(limit);
    };
    for (const Line& line : lines) {
        for (const auto& [name, quantity] : line.findings->quantities) take(name);
        for (const auto& [name, why] : line.findings->absent) take(name);
    }
    return limits;
}

std::vector<double> claimed_values(const Session& session, const TestRecord& record, const Axis& axis) {
    std::vector<double> values;
    for (const JudgedClaim& claim : session.claims) {
        const bool here = claim.test == record.id && claim.quantity.starts_with(axis.quantity_start) &&
                          claim.quantity.ends_with(axis.quantity_end);
        const auto value = claim.limit.at_least ? claim.limit.at_least : claim.limit.at_most;
        if (!here || !value || !(*value > 0.0)) continue;
        if (std::find(values.begin(), values.end(), *value) == values.end()) values.push_back(*value);
    }
    return values;
}

/// Distortion on the curve at a given power, along straight lines on the logarithmic sheet, the last
/// crossing.
std::optional<double> thd_at(const Line& line, double x) {
    for (std::size_t i = line.points.size(); i-- > 1;) {
        const Point& a = line.points[i - 1];
        const Point& b = line.points[i];
        if (!(std::min(a.x, b.x) <= x && x <= std::max(a.x, b.x)) || a.x == b.x) continue;
        const double part = std::log(x / a.x) / std::log(b.x / a.x);
        return a.thd_percent * std::pow(b.thd_percent / a.thd_percent, part);
    }
    return std::nullopt;
}

std::string data_block(const std::string& name, const std::vector<std::string>& rows) {
    std::string text = name + " << END\n";
    for (const std::string& row : rows) text += row + '\n';
    return text + "END\n";
}

/// Rows of the points where the curve crosses its limits: power, limit, power less and plus its uncertainty.
std::vector<std::string> crossings_of(const Line& line, const Axis& axis, const Sheet& sheet) {
    std::vector<std::string> rows;
    for (const auto& [name, quantity] : line.findings->quantities) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) continue;
        const double limit = std::atof(limit_words(name, "thd").c_str());
        if (!(limit > 0.0) || !(quantity.value > 0.0)) continue;
        const double low = std::max(quantity.value - quantity.expanded_uncertainty(), sheet.x_from);
        rows.push_back(fmt::format("{:.9g} {:.9g} {:.9g} {:.9g}", quantity.value, limit, low,
                                   quantity.value + quantity.expanded_uncertainty()));
    }
    return rows;
}

/// "load-a: 46.1 ± 1.4 W at 1 % THD", by the first limit that was reached.
std::string legend_of(const Line& line, const Axis& axis, const std::string& limit_on) {
    std::string text = short_text(line.load, 24);
    for (const auto& [name, quantity] : line.findings->quantities) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) continue;
        return text + ": " + value_text(quantity) + " at " + limit_words(name, limit_on);
    }
    return text;
}

/// Outline of the band that the uncertainty of the horizontal axis makes: the relative uncertainty of the
/// first figure on the curve, as scale and load make it, which is the same for all points.
std::vector<std::string> band_of(const Line& line, const Axis& axis) {
    std::vector<std::string> rows;
    for (const auto& [name, quantity] : line.findings->quantities) {
        if (!name.starts_with(axis.quantity_start) || !name.ends_with(axis.quantity_end)) continue;
        const double relative = quantity.value > 0.0 ? quantity.expanded_uncertainty() / quantity.value : 0.0;
        if (!(relative > 0.0) || relative >= 1.0) return rows;
        for (const Point& point : line.points) {
            rows.push_back(fmt::format("{:.9g} {:.9g}", point.x * (1.0 - relative), point.thd_percent));
        }
        for (std::size_t i = line.points.size(); i-- > 0;) {
            const Point& point = line.points[i];
            rows.push_back(fmt::format("{:.9g} {:.9g}", point.x * (1.0 + relative), point.thd_percent));
        }
        return rows;
    }
    return rows;
}

std::string frame_script(const Sheet& sheet, const Axis& axis) {
    return fmt::format(
        "set logscale xy\n"
        "set xrange [{:.9g}:{:.9g}]\nset yrange [{:.9g}:{:.9g}]\n"
        "set xtics ({})\nset ytics ({})\nset mxtics 0\n"
        "set border 3 lc rgb '#50565c' lw 1\nset tics nomirror out scale 0.6 textcolor rgb '#30363c'\n"
        "set grid xtics ytics lt 1 lc rgb '#e1e4e7' lw 0.7\n"
        "set xlabel '{}' textcolor rgb '#30363c'\nset ylabel 'distortion (THD) / %' textcolor rgb '#30363c'\n"
        "set key outside top left horizontal Left reverse samplen 3 width 2 maxcols 1 textcolor rgb "
        "'#1c2126'\n"
        "set lmargin 9\nset rmargin 4\n",
        sheet.x_from, sheet.x_to, sheet.y_from, sheet.y_to,
        ticks(sheet.x_from, sheet.x_to, sheet.x_to / sheet.x_from > 1.5e4),
        ticks(sheet.y_from, sheet.y_to, true), axis.label);
}

}  // namespace

bool has_level_curve(const TestRecord& record) {
    return !lines_of(record, Axis{}).empty() || !lines_of(record, Axis{"voltage_v", "V", "", "", ""}).empty();
}

capture::Result<std::string> level_plot(const Session& session, const TestRecord& record) {
    Axis axis;
    std::vector<Line> lines = lines_of(record, axis);
    if (lines.empty()) {
        axis = {"voltage_v", "V", "voltage (RMS) / V", "_percent_v", "voltage_at_"};
        lines = lines_of(record, axis);
    }
    if (lines.empty())
        return capture::fail(capture::FaultKind::internal, "the test has no level curve to draw");
    const std::vector<double> claimed = claimed_values(session, record, axis);
    const Sheet sheet = sheet_for(lines, claimed);
    const std::string limit_on = text_condition(record.result, "limit_on", "thd");

    PlotTexts texts;
    std::string script = frame_script(sheet, axis);
    if (session.simulated) script += simulated_mark(30, 22);
    for (const double limit : limits_of(lines, axis)) {
        if (limit < sheet.y_from || limit > sheet.y_to) continue;
        script += fmt::format(
            "set arrow from graph 0,first {0:.9g} to graph 1,first {0:.9g} nohead lc rgb '#6a7178' lw 1 dt "
            "(6,4) "
            "back\n"
            "set label '{0:.6g} % limit' at graph 0.012,first {0:.9g} offset 0,0.5 left font ',12' textcolor "
            "rgb "
            "'#50565c'\n",
            limit);
    }
    // Written along the line, where the curve is not: above it before the bend, below it behind.
    double bend = sheet.x_to;
    for (const Line& line : lines) {
        for (const Point& point : line.points) {
            if (point.thd_percent >= 1.0 && point.thd_percent < 50.0) bend = std::min(bend, point.x);
        }
    }
    for (const double value : claimed) {
        const bool before = value < 0.9 * bend;
        script += fmt::format(
            "set arrow from first {0:.9g},graph 0 to first {0:.9g},graph 1 nohead lc rgb '#1c2126' lw 1.6 "
            "back\n"
            "set label 'claimed {1}' at first {0:.9g},graph {2} offset -0.7,0 rotate by 90 {3} font ',12' "
            "textcolor "
            "rgb '#1c2126'\n",
            value, stated_text(value, axis.unit), before ? "0.975" : "0.03", before ? "right" : "left");
    }
    std::string bands;
    std::string plot;
    std::vector<std::string> onsets;
    std::vector<ReadCurve> readout;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const Line& line = lines[i];
        const Pen& pen = pens[i % pens.size()];
        std::vector<std::string> rows;
        for (const Point& point : line.points)
            rows.push_back(fmt::format("{:.9g} {:.9g}", point.x, point.thd_percent));
        script += data_block(fmt::format("$line{}", i), rows);
        readout.push_back({line.load, "% THD", {}, false});
        for (const Point& point : line.points) readout.back().points.emplace_back(point.x, point.thd_percent);
        if (const std::vector<std::string> band = band_of(line, axis); !band.empty()) {
            script += data_block(fmt::format("$band{}", i), band);
            bands += fmt::format(
                "$band{} using 1:2 with filledcurves closed fs transparent solid 0.16 noborder lc "
                "rgb '{}' notitle, ",
                i, pen.colour);
        }
        plot += fmt::format("{}$line{} using 1:2 with lines lw 2.4 lc rgb '{}' dt {} title '{}'",
                            i == 0 ? "" : ", ", i, pen.colour, pen.dash,
                            texts.mark(legend_of(line, axis, limit_on)));
        const std::vector<std::string> crossings = crossings_of(line, axis, sheet);
        if (!crossings.empty()) {
            script += data_block(fmt::format("$cross{}", i), crossings);
            plot += fmt::format(
                ", $cross{} using 1:2:3:4 with xerrorbars lw 1.6 pt {} ps 0.7 lc rgb '{}' notitle", i,
                pen.point, pen.colour);
        }
        const analysis::Quantity* onset = axis.unit == "W" ? line.findings->find("clip_onset_w") : nullptr;
        if (onset != nullptr) {
            if (const auto thd = thd_at(line, onset->value)) {
                onsets.push_back(fmt::format("{:.9g} {:.9g}", onset->value, *thd));
            }
        }
    }
    if (!onsets.empty()) {
        script += data_block("$onset", onsets);
        plot += ", $onset using 1:2 with points pt 6 ps 1.6 lw 1.8 lc rgb '#1c2126' title 'clipping begins'";
    }
    script += "plot " + bands + plot + '\n';
    auto svg = draw(script, record.id, 620, 450);
    if (!svg) return svg;
    return with_readout(texts.put_into(*svg), axis.unit == "W" ? "power" : "voltage", axis.unit, readout);
}

}  // namespace assay::cli
