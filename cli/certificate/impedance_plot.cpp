#include "cli/certificate/impedance_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string_view>

#include "cli/certificate/gnuplot.h"
#include "cli/files/basis.h"
#include "cli/files/number_words.h"
#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

// Apart in lightness as well as in hue, and each with a dash and a point of its own: they stay apart in grey.
struct Pen {
    std::string_view line;
    std::string_view point_colour;
    std::string_view dash;
    int point;
};
constexpr std::array<Pen, 3> pens{{{"#12405f", "#6f93ab", "solid", 7},
                                   {"#c2571a", "#e0a27f", "(12,5)", 9},
                                   {"#3f7d4e", "#93bb9d", "(3,4)", 5}}};

constexpr double points_per_octave = 24.0;  // more would hide the line of the model
constexpr std::size_t most_curves = pens.size();

/// One curve of the test, with the model's where it has one.
struct Line {
    std::string label{};
    const std::vector<double>* frequency_hz = nullptr;
    const std::vector<double>* magnitude_ohm = nullptr;
    const std::vector<double>* phase_deg = nullptr;
    const std::vector<double>* model_ohm = nullptr;
    const std::vector<double>* model_deg = nullptr;
    const std::vector<double>* residual_percent = nullptr;
};

std::string what_was_done(const Session& session, const std::string& test) {
    const TestRecord* record = session.find(test);
    std::string words;
    if (record != nullptr) {
        if (const auto mass = number_condition(record->result, "added_mass_g")) {
            words = "with " + stated_text(*mass, "g") + " added";
        } else if (const auto box = number_condition(record->result, "test_box_l")) {
            words = "in a closed box of " + stated_text(*box, "L");
        }
    }
    return words;
}

std::vector<Line> lines_of(const Session& session, const TestRecord& record) {
    const std::string fit = "fit";
    const bool parameters = record.result.measure == "driver-parameters";
    std::vector<Line> lines;
    for (const auto& [name, curve] : record.result.whole.curves) {
        const bool one_of_fit = name == fit || name.starts_with(fit + "_");
        if (parameters ? !one_of_fit : name != "impedance") continue;
        Line line;
        line.frequency_hz = curve.find("frequency_hz");
        line.magnitude_ohm = curve.find("magnitude_ohm");
        line.phase_deg = curve.find("phase_deg");
        line.model_ohm = curve.find("model_magnitude_ohm");
        line.model_deg = curve.find("model_phase_deg");
        line.residual_percent = curve.find("residual_percent");
        if (line.frequency_hz == nullptr || line.magnitude_ohm == nullptr || line.phase_deg == nullptr)
            continue;
        if (line.frequency_hz->size() < 2 || lines.size() == most_curves) continue;
        const std::string test = parameters && name != fit ? name.substr(fit.size() + 1) : record.id;
        line.label = what_was_done(session, test);
        if (line.label.empty()) line.label = name == fit || !parameters ? "free air" : short_text(test, 30);
        lines.push_back(line);
    }
    return lines;
}

std::string data_block(const std::string& name, const std::string& rows) {
    return name + " << END\n" + rows + "END\n";
}

/// Frequency, magnitude, phase, model magnitude, model phase, residual; every point for lines, and fewer, at
/// even distances, for dots.
std::string rows_of(const Line& line, double least_octaves) {
    std::string rows;
    double last = 0.0;
    const auto value = [](const std::vector<double>* column, std::size_t i) {
        return column != nullptr ? (*column)[i] : 0.0;
    };
    for (std::size_t i = 0; i < line.frequency_hz->size(); ++i) {
        const double f = (*line.frequency_hz)[i];
        if (!(f > 0.0) || !((*line.magnitude_ohm)[i] > 0.0)) continue;
        if (last > 0.0 && std::log2(f / last) < least_octaves) continue;
        last = f;
        rows += fmt::format("{:.7g} {:.7g} {:.6g} {:.7g} {:.6g} {:.4g}\n", f, (*line.magnitude_ohm)[i],
                            (*line.phase_deg)[i], value(line.model_ohm, i), value(line.model_deg, i),
                            value(line.residual_percent, i));
    }
    return rows;
}

struct Sheet {
    double from_hz = 0.0;
    double to_hz = 0.0;
    double from_ohm = 0.0;
    double to_ohm = 0.0;
    double phase_deg = 90.0;
    double residual_percent = 1.0;
    bool model = false;
};

/// 1, 2, 5, 10, ...: the nearest that is not below the value.
double round_up(double value) {
    const double decade = std::pow(10.0, std::floor(std::log10(value)));
    for (const double step : {1.0, 2.0, 5.0, 10.0}) {
        if (value <= step * decade * (1.0 + 1e-9)) return step * decade;
    }
    return 10.0 * decade;
}

Sheet sheet_for(const std::vector<Line>& lines) {
    Sheet sheet;
    sheet.from_hz = lines.front().frequency_hz->front();
    sheet.to_hz = sheet.from_hz;
    double lowest = lines.front().magnitude_ohm->front();
    double highest = lowest;
    double residual = 0.0;
    for (const Line& line : lines) {
        for (std::size_t i = 0; i < line.frequency_hz->size(); ++i) {
            sheet.from_hz = std::min(sheet.from_hz, (*line.frequency_hz)[i]);
            sheet.to_hz = std::max(sheet.to_hz, (*line.frequency_hz)[i]);
            lowest = std::min(lowest, (*line.magnitude_ohm)[i]);
            highest = std::max(highest, (*line.magnitude_ohm)[i]);
            if (std::abs((*line.phase_deg)[i]) > 90.0) sheet.phase_deg = 180.0;
            if (line.residual_percent != nullptr) residual = std::max(residual, (*line.residual_percent)[i]);
        }
        sheet.model = sheet.model || line.model_ohm != nullptr;
    }
    // A hair wider, so that a tick at the very end is drawn.
    sheet.from_hz = std::max(sheet.from_hz, 1.0) * 0.998;
    sheet.to_hz *= 1.002;
    sheet.from_ohm = std::max(lowest * 0.8, 0.01);
    sheet.to_ohm = std::min(highest * 1.3, 1e5);
    sheet.residual_percent = round_up(std::clamp(residual * 1.05, 0.1, 100.0));
    return sheet;
}

std::string tick(double value) {
    return value >= 1000.0 ? fmt::format("\"{:.4g}k\" {:.9g}", value / 1000.0, value)
                           : fmt::format("\"{:.4g}\" {:.9g}", value, value);
}

/// Ticks at 1, 2, 5 of each decade. On a short axis also between.
std::string log_ticks(double from, double to) {
    std::string list;
    const bool narrow = to / from < 12.0;
    for (int exponent = -2; exponent <= 5; ++exponent) {
        for (const double leading : {1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0}) {
            const bool main = leading == 1.0 || leading == 2.0 || leading == 5.0;
            const double value = leading * std::pow(10.0, exponent);
            if ((!main && !narrow) || value < from * 0.999 || value > to * 1.001) continue;
            list += (list.empty() ? "" : ", ") + tick(value);
        }
    }
    return list;
}

/// A panel of the sheet between two heights (0 is the bottom).
std::string panel(const Sheet& sheet, double bottom, double top, bool lowest) {
    return fmt::format(
        "unset label\nunset arrow\nset tmargin at screen {:.3f}\nset bmargin at screen {:.3f}\n"
        "set xtics ({})\nset format x ''\nset xlabel '{}' offset 0,0.4 textcolor rgb '#30363c'\n",
        top, bottom, lowest ? log_ticks(sheet.from_hz, sheet.to_hz) : [&] {
            // The same lines of the grid without their numbers.
            std::string list = log_ticks(sheet.from_hz, sheet.to_hz);
            std::string bare;
            bool inside = false;
            for (const char c : list) {
                if (c == '"') inside = !inside;
                if (!inside || c == '"') bare += c;
            }
            return bare;
        }(),
        lowest ? "frequency / Hz" : "");
}

std::string dots(std::size_t i, int column) {
    return fmt::format("$dots{0} using 1:{1} with points pt {2} ps 0.34 lw 0.8 lc rgb '{3}' notitle", i,
                       column, pens[i].point, pens[i].point_colour);
}

std::string line_of(const std::string& block, std::size_t i, int column) {
    return fmt::format("{} using 1:{} with lines lw 2 lc rgb '{}' dt {} notitle", block, column, pens[i].line,
                       pens[i].dash);
}

/// The curves' names in one row above the sheet, each behind a piece of its line.
std::string legend(const std::vector<Line>& lines, PlotTexts& texts) {
    constexpr double sample = 0.05;
    constexpr double character = 0.0135;  // of the sheet's width, by eye
    std::string script;
    double at = 0.125;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        script += fmt::format(
            "set arrow from screen {:.3f},0.97 to screen {:.3f},0.97 nohead lw 2 lc rgb '{}' dt {}\n"
            "set label '{}' at screen {:.3f},0.97 left textcolor rgb '#1c2126'\n",
            at, at + sample, pens[i].line, pens[i].dash, texts.mark(lines[i].label), at + sample + 0.012);
        at += sample + 0.05 + character * static_cast<double>(columns_of(lines[i].label));
    }
    return script;
}

}  // namespace

bool has_impedance_plot(const Session& session, const TestRecord& record) {
    if (lines_of(session, record).empty()) return false;
    if (record.result.measure == "driver-parameters") return true;
    // The curves of a fit bear the ids of their tests, but the first, which is drawn as "fit".
    return std::none_of(session.tests.begin(), session.tests.end(), [&](const TestRecord& other) {
        return other.result.measure == "driver-parameters" && !lines_of(session, other).empty();
    });
}

capture::Result<std::string> impedance_plot(const Session& session, const TestRecord& record) {
    const std::vector<Line> lines = lines_of(session, record);
    if (lines.empty())
        return capture::fail(capture::FaultKind::internal, "the test has no impedance curve to draw");
    const Sheet sheet = sheet_for(lines);
    PlotTexts texts;
    std::string script;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        script += data_block(fmt::format("$all{}", i), rows_of(lines[i], 0.0));
        script += data_block(fmt::format("$dots{}", i), rows_of(lines[i], 1.0 / points_per_octave));
    }
    script += fmt::format(
        "set multiplot\nset logscale x\nset xrange [{:.9g}:{:.9g}]\n"
        "set lmargin at screen 0.125\nset rmargin at screen 0.975\n"
        "set border 3 lc rgb '#50565c' lw 1\nset tics nomirror out scale 0.6 textcolor rgb '#30363c'\n"
        "set mxtics 0\nset grid xtics ytics lt 1 lc rgb '#e1e4e7' lw 0.7\n",
        sheet.from_hz, sheet.to_hz);
    const double top = 0.94;
    const double under_magnitude = sheet.model ? 0.51 : 0.44;
    const double under_phase = sheet.model ? 0.28 : 0.115;

    script += panel(sheet, under_magnitude, top, false);
    script += fmt::format(
        "set logscale y\nset yrange [{:.9g}:{:.9g}]\nset ytics ({})\n"
        "set ylabel 'impedance / Ω' offset 1,0 textcolor rgb '#30363c'\n"
        "unset key\n",
        sheet.from_ohm, sheet.to_ohm, log_ticks(sheet.from_ohm, sheet.to_ohm));
    if (session.simulated) {
        script +=
            "set label 'SIMULATED BENCH' at graph 0.6,0.66 center rotate by 12 font ',28' textcolor rgb "
            "'#dadde0' "
            "back\n"
            "set label 'shows no real unit' at graph 0.62,0.5 center rotate by 12 font ',20' textcolor rgb "
            "'#dadde0' back\n";
    }
    if (const analysis::Quantity* fs = record.result.whole.find("fs_hz")) {
        if (fs->value > sheet.from_hz && fs->value < sheet.to_hz) {
            script += fmt::format(
                "set arrow from first {0:.9g},graph 0 to first {0:.9g},graph 1 nohead lc rgb '#6a7178' lw 1 "
                "dt (6,4) "
                "back\nset label 'fs {1}' at first {0:.9g},graph 0.05 offset 0.7,0 left font ',12' textcolor "
                "rgb "
                "'#50565c'\n",
                fs->value, stated_text(std::stod(fmt::format("{:.4g}", fs->value)), "Hz"));
        }
    }
    script += legend(lines, texts);
    std::string magnitude;
    std::string phase;
    std::string residual;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const std::string join = i == 0 ? "" : ", ";
        const std::string block = fmt::format("$all{}", i);
        const bool model = lines[i].model_ohm != nullptr && lines[i].model_deg != nullptr;
        magnitude += join + (model ? dots(i, 2) + ", " + line_of(block, i, 4) : line_of(block, i, 2));
        phase += join + (model ? dots(i, 3) + ", " + line_of(block, i, 5) : line_of(block, i, 3));
        if (lines[i].residual_percent != nullptr)
            residual += (residual.empty() ? "" : ", ") + line_of(block, i, 6);
    }
    script += "plot " + magnitude + "\nunset logscale y\n";

    script += panel(sheet, under_phase, under_magnitude - 0.03, !sheet.model);
    script += fmt::format(
        "set yrange [-{0:g}:{0:g}]\nset ytics {1:g}\nset ylabel 'phase / °' offset 1,0 textcolor rgb "
        "'#30363c'\nplot "
        "{2}\n",
        sheet.phase_deg, sheet.phase_deg / 2.0, phase);
    if (sheet.model && !residual.empty()) {
        script += panel(sheet, 0.115, under_phase - 0.03, true);
        script += fmt::format(
            "set yrange [0:{0:g}]\nset ytics {1:g}\nset ylabel 'left / %' offset 1,0 textcolor rgb "
            "'#30363c'\nplot {2}\n",
            sheet.residual_percent, sheet.residual_percent / 2.0, residual);
    }
    script += "unset multiplot\n";
    auto svg = draw(script, record.id, 620, 600);
    if (!svg) return svg;
    return texts.put_into(*svg);
}

}  // namespace assay::cli
