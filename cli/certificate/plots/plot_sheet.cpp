#include "cli/certificate/plots/plot_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/certificate/plots/gnuplot.h"
#include "cli/certificate/plots/plot_pens.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/readout.h"
#include "cli/certificate/plots/rule_places.h"
#include "cli/certificate/plots/text_width.h"

namespace assay::cli {
namespace {

constexpr double left_px = 92.0;
constexpr double right_px = 20.0;
constexpr double right_of_y2_px = 70.0;
constexpr double under_px = 58.0;
constexpr double gap_px = 16.0;
constexpr double legend_row_px = 21.0;
constexpr double sample_px = 38.0;
constexpr double longest_name_px = 290.0;  // and no more than the sheet holds

constexpr const char* frame_style =
    "set border 3 lc rgb '#50565c' lw 1\nset tics nomirror out scale 0.6 textcolor rgb '#30363c'\n"
    "set mxtics 0\nset mytics 0\nset my2tics 0\nset grid xtics ytics lt 1 lc rgb '#e1e4e7' lw 0.7\n"
    "unset key\nset pointintervalbox 0\nset style textbox opaque noborder fillcolor rgb '#ffffff' margins "
    "0.3,0.1\n";

/// The script as it grows, with the texts that stand in it as marks.
struct Script {
    PlotTexts texts{};
    std::string text{};
    std::size_t blocks = 0;

    std::string block(const std::vector<std::string>& rows) {
        std::string name = fmt::format("$b{}", blocks++);
        text += name + " << END\n";
        for (const std::string& row : rows) text += row + '\n';
        text += "END\n";
        return name;
    }
};

struct Place {
    const PlotSheet* sheet = nullptr;
    double right = 0.0;
    double x(double px) const { return px / sheet->width; }
    double y(double px_from_top) const { return 1.0 - px_from_top / sheet->height; }
};

struct LegendEntry {
    std::string name{};
    std::string note{};
    const PlotCurve* curve = nullptr;
    const PlotPoints* points = nullptr;
    double x_px = 0.0;
    std::size_t row = 0;
};

/// Entries in rows from the left, as many in each as find room.
std::vector<LegendEntry> legend_of(const PlotSheet& sheet) {
    const double room_px = sheet.width - left_px - sample_px - 16.0;
    std::vector<LegendEntry> entries;
    for (const PlotPanel& panel : sheet.panels) {
        for (const PlotCurve& curve : panel.curves) {
            if (curve.legend)
                entries.push_back(
                    {text_within(curve.name, std::min(longest_name_px, room_px - text_width_px(curve.note))),
                     curve.note, &curve, nullptr});
        }
        for (const PlotPoints& points : panel.points) {
            if (!points.legend.empty()) entries.push_back({points.legend, {}, nullptr, &points});
        }
    }
    double at = left_px;
    std::size_t row = 0;
    for (LegendEntry& entry : entries) {
        const double wide = sample_px + 10.0 + text_width_px(entry.name) + text_width_px(entry.note);
        if (at > left_px && at + wide > sheet.width - 6.0) {
            at = left_px;
            ++row;
        }
        entry.x_px = at;
        entry.row = row;
        at += wide + 18.0;
    }
    return entries;
}

void add_legend(const std::vector<LegendEntry>& entries, const Place& place, Script& script) {
    for (const LegendEntry& entry : entries) {
        const double y_px = 14.0 + legend_row_px * static_cast<double>(entry.row);
        const double from = place.x(entry.x_px);
        const double to = place.x(entry.x_px + sample_px);
        const double y = place.y(y_px);
        if (entry.curve != nullptr) {
            const PlotPen& pen = plot_pen(entry.curve->pen);
            if (entry.curve->look == PlotLook::bars) {
                script.text += fmt::format(
                    "set object rectangle from screen {:.4f},screen {:.4f} to screen {:.4f},screen {:.4f} fs "
                    "solid {} border lc rgb '{}' fc rgb '{}'\n",
                    from, y - 5.0 / place.sheet->height, to, y + 5.0 / place.sheet->height, pen.fill,
                    pen.colour, pen.colour);
            } else {
                script.text += fmt::format(
                    "set arrow from screen {:.4f},screen {:.4f} to screen {:.4f},screen {:.4f} nohead lw 2.4 "
                    "lc rgb '{}' dt {}\n",
                    from, y, to, y, pen.colour, pen.dash);
            }
        } else {
            const PlotPen& pen = plot_pen(entry.points->pen);
            script.text += fmt::format(
                "set label '' at screen {:.4f},screen {:.4f} point pt {} ps {} lw 1.8 lc rgb '{}'\n",
                (from + to) / 2.0, y, entry.points->shape != 0 ? entry.points->shape : pen.shape,
                std::max(entry.points->size, 0.9), entry.points->black ? "#1c2126" : pen.colour);
        }
        script.text += fmt::format(
            "set label '{}{}' at screen {:.4f},screen {:.4f} left textcolor rgb '#1c2126'\n",
            script.texts.mark(entry.name), entry.note.empty() ? "" : script.texts.mark(entry.note),
            place.x(entry.x_px + sample_px + 8.0), y);
    }
}

std::string words_of(const PlotScale& scale) {
    return scale.unit.empty() ? scale.words : scale.words + " / " + scale.unit;
}

/// "set xtics" and the like; a logarithmic scale has its own numbers.
std::string ticks_of(const std::string& axis, const PlotScale& scale, bool bare) {
    if (scale.logarithmic)
        return fmt::format("set {}tics ({})\n", axis, logarithmic_ticks(scale.from, scale.to, bare));
    const double step = scale.step > 0.0 ? scale.step : linear_step(scale.from, scale.to);
    return fmt::format("set {0}tics {1:.9g}\nset format {0} '{2}'\n", axis, step, bare ? "" : "%g");
}

std::string range_of(const std::string& axis, const PlotScale& scale) {
    // A hair wider, so that a tick at the very end is drawn.
    const double by = scale.logarithmic ? 1.002 : 1.0;
    return fmt::format("{} logscale {}\nset {}range [{:.9g}:{:.9g}]\n", scale.logarithmic ? "set" : "unset",
                       axis, axis, scale.from / by, scale.to * by);
}

void add_rule(const PlotRule& rule, const RulePlace& at, Script& script) {
    const std::string_view colour = rule.claim ? "#1c2126" : "#6a7178";
    const std::string line = fmt::format("nohead lc rgb '{}' lw {} dt {}", colour, rule.claim ? 1.6 : 1.0,
                                         rule.claim ? "solid" : "(6,4)");
    const std::string style =
        fmt::format("font ',12' textcolor rgb '{}' front", rule.claim ? "#1c2126" : "#50565c");
    const std::string text = script.texts.mark(rule.text);
    script.text +=
        rule.upright ? fmt::format("set arrow from first {0:.9g},graph 0 to first {0:.9g},graph 1 {1} back\n",
                                   rule.value, line)
                     : fmt::format("set arrow from graph 0,first {0:.9g} to graph 1,first {0:.9g} {1} back\n",
                                   rule.value, line);
    script.text += fmt::format("set label '{}' at graph {:.4f},graph {:.4f} left {} {}\n", text, at.x, at.y,
                               at.upwards ? "rotate by 90" : "", style);
}

std::vector<std::string> rows_of(const PlotCurve& curve) {
    std::vector<std::string> rows;
    for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
        // An empty line breaks the curve where there is no number.
        const bool given = std::isfinite(curve.x[i]) && std::isfinite(curve.y[i]);
        rows.push_back(given ? fmt::format("{:.9g} {:.9g}", curve.x[i] + curve.shift, curve.y[i])
                             : std::string{});
    }
    return rows;
}

std::string curve_part(const PlotCurve& curve, Script& script) {
    const PlotPen& pen = plot_pen(curve.pen);
    const std::string name = script.block(rows_of(curve));
    const std::string axes = curve.second ? "axes x1y2 " : "";
    switch (curve.look) {
        case PlotLook::thin:
            return fmt::format("{} using 1:2 {}with lines lw 1.2 lc rgb '{}' dt (2,4)", name, axes,
                               pen.colour);
        case PlotLook::dots:
            return fmt::format("{} using 1:2 {}with points pt {} ps 0.34 lw 0.8 lc rgb '{}'", name, axes,
                               pen.shape, pen.pale);
        case PlotLook::bars:
            return fmt::format(
                "{} using 1:2:({:.6g}) {}with boxes lc rgb '{}' fs solid {} border lc rgb '{}'", name,
                curve.width, axes, pen.colour, pen.fill, pen.colour);
        case PlotLook::line:
            break;
    }
    return fmt::format("{} using 1:2 {}with lines lw 2.2 lc rgb '{}' dt {}", name, axes, pen.colour,
                       pen.dash);
}

std::string band_part(const PlotCurve& curve, Script& script) {
    std::vector<std::string> rows;
    for (const auto& [x, y] : curve.band) {
        rows.push_back(std::isfinite(x) ? fmt::format("{:.9g} {:.9g}", x + curve.shift, y) : std::string{});
    }
    return fmt::format(
        "{} using 1:2 {}with filledcurves closed fs transparent solid 0.18 noborder lc rgb '{}'",
        script.block(rows), curve.second ? "axes x1y2 " : "", plot_pen(curve.pen).colour);
}

std::string points_part(const PlotPoints& points, Script& script) {
    const PlotPen& pen = plot_pen(points.pen);
    std::vector<std::string> rows;
    for (const PlotPoints::Row& row : points.rows)
        rows.push_back(fmt::format("{:.9g} {:.9g} {:.9g} {:.9g}", row.x, row.y, row.low, row.high));
    if (points.error == PlotError::along_y && points.bare) {
        return fmt::format(
            "{} using 1:3:(0):($4-$3) with vectors heads size graph 0.006,90 nofilled lw 1.6 lc rgb '{}'",
            script.block(rows), points.black ? "#1c2126" : pen.colour);
    }
    const std::string_view how = points.error == PlotError::along_x   ? "using 1:2:3:4 with xerrorbars"
                                 : points.error == PlotError::along_y ? "using 1:2:3:4 with yerrorbars"
                                                                      : "using 1:2 with points";
    return fmt::format("{} {} lw 1.6 pt {} ps {} lc rgb '{}'", script.block(rows), how,
                       points.shape != 0 ? points.shape : pen.shape, points.size,
                       points.black ? "#1c2126" : pen.colour);
}

void add_panel(const PlotPanel& panel, const Place& place, double top_px, double bottom_px, bool lowest,
               bool mark, Script& script) {
    const PlotScale& x = place.sheet->x;
    script.text += fmt::format("set tmargin at screen {:.4f}\nset bmargin at screen {:.4f}\n",
                               place.y(top_px), place.y(bottom_px));
    script.text += range_of("y", panel.y) + ticks_of("x", x, !lowest) + ticks_of("y", panel.y, false);
    const double middle = place.y((top_px + bottom_px) / 2.0);
    script.text += fmt::format(
        "set label '{}' at screen {:.4f},screen {:.4f} center rotate by 90 textcolor rgb '#30363c'\n",
        script.texts.mark(words_of(panel.y)), place.x(11.0), middle);
    if (lowest) {
        script.text +=
            fmt::format("set label '{}' at screen {:.4f},screen {:.4f} center textcolor rgb '#30363c'\n",
                        script.texts.mark(words_of(x)), (place.x(left_px) + place.right) / 2.0,
                        place.y(place.sheet->height - 11.0));
    }
    if (panel.y2) {
        script.text += "set border 11\n" + range_of("y2", *panel.y2) + ticks_of("y2", *panel.y2, false);
        script.text += fmt::format(
            "set label '{}' at screen {:.4f},screen {:.4f} center rotate by 90 textcolor rgb '#30363c'\n",
            script.texts.mark(words_of(*panel.y2)), place.x(place.sheet->width - 14.0), middle);
    }
    if (mark) script.text += simulated_mark(bottom_px - top_px);
    const std::vector<RulePlace> places =
        rule_places(panel, x, place.right * place.sheet->width - left_px, bottom_px - top_px);
    for (std::size_t i = 0; i < panel.rules.size(); ++i) add_rule(panel.rules[i], places[i], script);
    std::vector<std::string> parts;
    for (const PlotCurve& curve : panel.curves) {
        if (!curve.band.empty()) parts.push_back(band_part(curve, script));
    }
    for (const PlotCurve& curve : panel.curves) parts.push_back(curve_part(curve, script));
    for (const PlotPoints& points : panel.points) {
        if (!points.rows.empty()) parts.push_back(points_part(points, script));
    }
    std::string all;
    for (const std::string& part : parts) all += (all.empty() ? "plot " : ", ") + part + " notitle";
    script.text += all + '\n' + frame_report(x.logarithmic, panel.y.logarithmic) +
                   "unset label\nunset arrow\nunset object\n";
}

std::vector<ReadCurve> read_curves(const PlotSheet& sheet) {
    std::vector<ReadCurve> all;
    for (std::size_t p = 0; p < sheet.panels.size(); ++p) {
        for (const PlotCurve& curve : sheet.panels[p].curves) {
            if (!curve.read) continue;
            ReadCurve read{curve.name, curve.unit, {}, curve.second, p, curve.shift};
            for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
                if (std::isfinite(curve.x[i]) && std::isfinite(curve.y[i]))
                    read.points.emplace_back(curve.x[i], curve.y[i]);
            }
            all.push_back(std::move(read));
        }
    }
    return all;
}

}  // namespace

std::vector<std::pair<double, double>> band_along_y(const std::vector<double>& x,
                                                    const std::vector<double>& y,
                                                    const std::vector<double>& doubt) {
    std::vector<std::pair<double, double>> band;
    const std::size_t count = std::min({x.size(), y.size(), doubt.size()});
    const auto given = [&](std::size_t i) { return std::isfinite(y[i]) && std::isfinite(doubt[i]); };
    for (std::size_t first = 0; first < count; ++first) {
        if (!given(first)) continue;
        std::size_t end = first;
        while (end < count && given(end)) ++end;
        for (std::size_t i = first; i < end; ++i) band.emplace_back(x[i], y[i] - doubt[i]);
        for (std::size_t i = end; i-- > first;) band.emplace_back(x[i], y[i] + doubt[i]);
        band.emplace_back(std::nan(""), std::nan(""));
        first = end;
    }
    return band;
}

PlotScale scale_around(const std::string& words, const std::string& unit, double lowest, double highest) {
    const double room = highest > lowest ? 0.0 : std::max(std::abs(highest) * 0.1, 1e-6);
    const double step = linear_step(lowest - room, highest + room);
    PlotScale scale{words,
                    unit,
                    step * std::floor((lowest - room) / step - 0.1),
                    step * std::ceil((highest + room) / step + 0.1),
                    false,
                    0.0};
    scale.step = linear_step(scale.from, scale.to);
    return scale;
}

PlotScale frequency_scale(double lowest_hz, double highest_hz) {
    PlotScale scale{"frequency", "Hz", frequency_from(lowest_hz), frequency_to(highest_hz), true, 0.0};
    if (!(scale.to > scale.from)) scale.to = 2.0 * scale.from;
    return scale;
}

capture::Result<std::string> draw_sheet(const PlotSheet& sheet, const std::string& name, bool simulated) {
    const bool second = std::any_of(sheet.panels.begin(), sheet.panels.end(),
                                    [](const PlotPanel& panel) { return panel.y2.has_value(); });
    const Place place{&sheet, 1.0 - (second ? right_of_y2_px : right_px) / sheet.width};
    const std::vector<LegendEntry> legend = legend_of(sheet);
    Script script;
    script.text = frame_style + std::string("set multiplot\n");
    script.text += fmt::format("set lmargin at screen {:.4f}\nset rmargin at screen {:.4f}\n",
                               place.x(left_px), place.right);
    script.text += range_of("x", sheet.x);
    add_legend(legend, place, script);

    double shares = 0.0;
    std::size_t largest = 0;
    for (std::size_t p = 0; p < sheet.panels.size(); ++p) {
        shares += sheet.panels[p].share;
        if (sheet.panels[p].share > sheet.panels[largest].share) largest = p;
    }
    double top_px = legend.empty() ? 12.0 : 14.0 + legend_row_px * static_cast<double>(legend.back().row + 1);
    const double gaps_px = gap_px * static_cast<double>(sheet.panels.size() - 1);
    const double free_px = sheet.height - under_px - top_px - gaps_px;
    for (std::size_t p = 0; p < sheet.panels.size(); ++p) {
        const double bottom_px = top_px + free_px * sheet.panels[p].share / shares;
        add_panel(sheet.panels[p], place, top_px, bottom_px, p + 1 == sheet.panels.size(),
                  simulated && p == largest, script);
        top_px = bottom_px + gap_px;
    }
    script.text += "unset multiplot\n";
    auto svg = draw(script.text, name, sheet.width, sheet.height);
    if (!svg) return svg;
    return with_readout(script.texts.put_into(*svg), sheet.x.words, sheet.x.unit, read_curves(sheet));
}

}  // namespace assay::cli
