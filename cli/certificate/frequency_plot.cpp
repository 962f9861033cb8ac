#include "cli/certificate/frequency_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <vector>

#include "cli/certificate/gnuplot.h"
#include "cli/certificate/readout.h"
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
};
constexpr std::array<Pen, 4> pens{
    {{"#12405f", "solid"}, {"#c2571a", "(12,5)"}, {"#3f7d4e", "(3,4)"}, {"#7a4a86", "(14,4,3,4)"}}};

struct Kind {
    std::string_view measure;
    std::string_view curve;
    std::string_view column;
    std::string_view file;
    std::string_view label;
    std::string_view unit;
    bool log_y = false;
    std::string_view caption;
};
constexpr std::array<Kind, 4> kinds{
    {{"response", "response", "magnitude_db", "response", "gain / dB", "dB", false,
      "Gain against frequency. Flat is even; the thin lines stand 1 and 3 dB below the gain at 1 kHz. "
      "Dotted, to "
      "the scale on the right: phase."},
     {"separation", "separation", "separation_db", "separation", "separation / dB", "dB", false,
      "How far below the driven channel the silent one stays. Higher is better. Triangles: at least so much; "
      "noise hides the rest."},
     {"power-bandwidth", "power", "power_w", "power", "power at the first limit / W", "W", false,
      "Power against frequency, at the first distortion limit of the test. The thin line is half the power "
      "at "
      "1 kHz."},
     {"output-impedance", "output_impedance", "magnitude_ohm", "output-impedance", "output impedance / Ω",
      "Ω", true, "Output impedance against frequency: the lower, the firmer the hold on the loudspeaker."}}};

const Kind* kind_of(std::string_view measure) {
    for (const Kind& kind : kinds) {
        if (kind.measure == measure) return &kind;
    }
    return nullptr;
}

struct Line {
    std::string name{};
    const Findings* findings = nullptr;
    const analysis::Curve* curve = nullptr;
    std::vector<double> frequency_hz{};
    std::vector<double> value{};
};

bool usable(double value, const Kind& kind) {
    return std::isfinite(value) && (!kind.log_y || value > 0.0);
}

void add_line(const Kind& kind, const std::string& name, const Findings& findings, std::vector<Line>& lines) {
    for (const auto& [curve_name, curve] : findings.curves) {
        const auto* frequency_hz = curve.find("frequency_hz");
        const auto* value = curve.find(std::string(kind.column));
        if (curve_name != kind.curve || frequency_hz == nullptr || value == nullptr) continue;
        Line line{name, &findings, &curve, {}, {}};
        std::ptrdiff_t given = 0;
        for (std::size_t i = 0; i < std::min(frequency_hz->size(), value->size()); ++i) {
            if (!((*frequency_hz)[i] > 0.0)) continue;
            const bool good = usable((*value)[i], kind);
            given += good ? 1 : 0;
            line.frequency_hz.push_back((*frequency_hz)[i]);
            line.value.push_back(good ? (*value)[i] : std::numeric_limits<double>::quiet_NaN());
        }
        if (given > 1) lines.push_back(std::move(line));
    }
}

std::vector<Line> lines_of(const Kind& kind, const TestRecord& record) {
    std::vector<Line> lines;
    for (const auto& [load, findings] : record.result.loads) add_line(kind, load, findings, lines);
    add_line(kind, std::string(kind.file), record.result.whole, lines);
    return lines;
}

/// The curve's value at 1 kHz, along a straight line between its neighbours; none outside the curve.
std::optional<double> at_1khz(const Line& line) {
    constexpr double reference_hz = 1000.0;
    for (std::size_t i = 0; i < line.value.size(); ++i) {
        if (std::abs(line.frequency_hz[i] / reference_hz - 1.0) < 0.01 && std::isfinite(line.value[i]))
            return line.value[i];
        if (i == 0 || line.frequency_hz[i - 1] > reference_hz || line.frequency_hz[i] < reference_hz)
            continue;
        const double part = std::log(reference_hz / line.frequency_hz[i - 1]) /
                            std::log(line.frequency_hz[i] / line.frequency_hz[i - 1]);
        const double value = line.value[i - 1] + part * (line.value[i] - line.value[i - 1]);
        if (std::isfinite(value)) return value;
    }
    return std::nullopt;
}

struct Sheet {
    double x_from = std::numeric_limits<double>::infinity();
    double x_to = 0.0;
    double y_from = std::numeric_limits<double>::infinity();
    double y_to = -std::numeric_limits<double>::infinity();

    void hold(double value) {
        y_from = std::min(y_from, value);
        y_to = std::max(y_to, value);
    }
};

/// A claim as a line on the sheet: upright at a frequency, or level at a value.
struct Claimed {
    double value = 0.0;
    bool upright = false;
    std::string text{};
};

std::vector<Claimed> claims_of(const Session& session, const TestRecord& record) {
    std::vector<Claimed> all;
    for (const JudgedClaim& claim : session.claims) {
        const auto value = claim.limit.at_least ? claim.limit.at_least : claim.limit.at_most;
        if (claim.test != record.id || !value) continue;
        const bool upright = claim.quantity.ends_with("_hz") && *value > 0.0;
        const bool level = claim.quantity == "separation_1khz_db" || claim.quantity == "gain_1khz_db";
        if (!upright && !level) continue;
        all.push_back(
            {*value, upright,
             "claimed " + stated_text(*value, upright ? "Hz" : "dB") + (upright ? "" : " at 1 kHz")});
    }
    return all;
}

Sheet sheet_of(const Kind& kind, const std::vector<Line>& lines, const std::vector<Claimed>& claims) {
    Sheet sheet;
    for (const Line& line : lines) {
        const auto reference = at_1khz(line);
        for (std::size_t i = 0; i < line.value.size(); ++i) {
            sheet.x_from = std::min(sheet.x_from, line.frequency_hz[i]);
            sheet.x_to = std::max(sheet.x_to, line.frequency_hz[i]);
            if (!std::isfinite(line.value[i])) continue;
            // What lies far below the gain at 1 kHz would press the rest flat.
            const bool deep = kind.file == "response" && reference && line.value[i] < *reference - 20.0;
            if (!deep) sheet.hold(line.value[i]);
        }
        if (const auto* least = line.curve->find("separation_at_least_db")) {
            for (const double value : *least) {
                if (std::isfinite(value)) sheet.hold(value);
            }
        }
        if (kind.file == "response" && reference) sheet.hold(*reference - 4.0);
    }
    for (const Claimed& claim : claims) {
        if (!claim.upright) {
            sheet.hold(claim.value);
            continue;
        }
        sheet.x_from = std::min(sheet.x_from, claim.value / 1.1);
        sheet.x_to = std::max(sheet.x_to, claim.value * 1.1);
    }
    if (!(sheet.x_to > sheet.x_from)) sheet.x_to = 2.0 * sheet.x_from;
    if (kind.log_y) {
        sheet.y_from = std::pow(10.0, std::floor(std::log10(sheet.y_from)));
        sheet.y_to = std::pow(10.0, std::ceil(std::log10(sheet.y_to * 1.05)));
    } else if (kind.unit == "W") {
        sheet.y_from = 0.0;
        sheet.y_to *= 1.15;
    } else {
        const double grain = kind.file == "response" ? 1.0 : 10.0;
        sheet.y_from = grain * (std::floor(sheet.y_from / grain - 0.1));
        sheet.y_to = grain * (std::ceil(sheet.y_to / grain + 0.1));
    }
    return sheet;
}

/// 20, 50, 100, 1k: as people write them.
std::string frequency_ticks(const Sheet& sheet) {
    std::string list;
    for (double decade = 1.0; decade < 1e6; decade *= 10.0) {
        for (const double leading : {1.0, 2.0, 5.0}) {
            const double value = leading * decade;
            if (value < 0.999 * sheet.x_from || value > 1.001 * sheet.x_to) continue;
            list += fmt::format(
                "{}\"{}\" {}", list.empty() ? "" : ", ",
                value >= 1000.0 ? fmt::format("{:g}k", value / 1000.0) : fmt::format("{:g}", value), value);
        }
    }
    return list;
}

std::string block(const std::string& name, const std::vector<double>& x, const std::vector<double>& y) {
    std::string text = name + " << END\n";
    for (std::size_t i = 0; i < std::min(x.size(), y.size()); ++i) {
        // An empty line breaks the curve where there is no number.
        text += std::isfinite(y[i]) ? fmt::format("{:.9g} {:.9g}\n", x[i], y[i]) : "\n";
    }
    return text + "END\n";
}

ReadCurve read_curve(const std::string& name, const std::string& unit, const std::vector<double>& x,
                     const std::vector<double>& y, bool second) {
    ReadCurve curve{name, unit, {}, second};
    for (std::size_t i = 0; i < std::min(x.size(), y.size()); ++i) {
        if (std::isfinite(y[i])) curve.points.emplace_back(x[i], y[i]);
    }
    return curve;
}

std::string level_line(double value, const std::string& text) {
    return fmt::format(
        "set arrow from graph 0,first {0:.9g} to graph 1,first {0:.9g} nohead lc rgb '#6a7178' lw 1 dt (6,4) "
        "back\n"
        "set label '{1}' at graph 0.72,first {0:.9g} offset 0,0.5 right font ',12' textcolor rgb "
        "'#50565c'\n",
        value, text);
}

std::string frame_script(const Kind& kind, const Sheet& sheet, bool simulated) {
    std::string script = fmt::format(
        "set logscale x\n{}set xrange [{:.9g}:{:.9g}]\nset yrange [{:.9g}:{:.9g}]\nset xtics ({})\nset "
        "mxtics 0\n"
        "set border 3 lc rgb '#50565c' lw 1\nset tics nomirror out scale 0.6 textcolor rgb '#30363c'\n"
        "set grid xtics ytics lt 1 lc rgb '#e1e4e7' lw 0.7\n"
        "set xlabel 'frequency / Hz' textcolor rgb '#30363c'\nset ylabel '{}' textcolor rgb '#30363c'\n"
        "set key outside top left horizontal Left reverse samplen 3 width 2 maxcols 2 textcolor rgb "
        "'#1c2126'\n"
        "set lmargin 9\nset rmargin 9\n",
        kind.log_y ? "set logscale y\nset mytics 0\nset format y '%g'\n" : "", sheet.x_from, sheet.x_to,
        sheet.y_from, sheet.y_to, frequency_ticks(sheet), kind.label);
    if (simulated) script += simulated_mark(24, 18);
    return script;
}

std::string claim_script(const Claimed& claim) {
    if (!claim.upright) return level_line(claim.value, claim.text);
    return fmt::format(
        "set arrow from first {0:.9g},graph 0 to first {0:.9g},graph 1 nohead lc rgb '#1c2126' lw 1.6 back\n"
        "set label '{1}' at first {0:.9g},graph 0.03 offset -0.7,0 rotate by 90 left font ',12' textcolor "
        "rgb "
        "'#1c2126'\n",
        claim.value, claim.text);
}

/// Scale on the right for the phase of all lines, in steps of 45 degrees; empty where no line has a phase.
std::string phase_script(const std::vector<Line>& lines) {
    double low = 0.0;
    double high = 0.0;
    bool any = false;
    for (const Line& line : lines) {
        const auto* phase = line.curve->find("phase_deg");
        if (phase == nullptr) continue;
        for (const double value : *phase) {
            if (!std::isfinite(value)) continue;
            any = true;
            low = std::min(low, value);
            high = std::max(high, value);
        }
    }
    if (!any) return {};
    low = 45.0 * std::floor(low / 45.0 - 0.01);
    high = 45.0 * std::ceil(high / 45.0 + 0.01);
    return fmt::format(
        "set border 11\nset y2range [{:g}:{:g}]\nset y2tics {:g} textcolor rgb '#30363c'\n"
        "set y2label 'phase / degrees' textcolor rgb '#30363c'\n",
        low, high, high - low > 360.0 ? 180.0 : 45.0);
}

/// Upper and lower -3 dB limits with their uncertainty: frequency, gain there, frequency less and plus.
std::string limit_block(const Line& line, double reference_db, std::size_t index) {
    std::string rows;
    for (const auto& [name, down_db] : {std::pair{"lower_limit_3db_hz", 3.0},
                                        {"upper_limit_3db_hz", 3.0},
                                        {"lower_limit_1db_hz", 1.0},
                                        {"upper_limit_1db_hz", 1.0}}) {
        const analysis::Quantity* limit = line.findings->find(name);
        if (limit == nullptr || !(limit->value > 0.0)) continue;
        const double doubt_hz = std::min(limit->expanded_uncertainty(), 0.9 * limit->value);
        rows += fmt::format("{:.9g} {:.9g} {:.9g} {:.9g}\n", limit->value, reference_db - down_db,
                            limit->value - doubt_hz, limit->value + doubt_hz);
    }
    return rows.empty() ? rows : fmt::format("$limit{} << END\n{}END\n", index, rows);
}

}  // namespace

std::string frequency_plot_kind(const std::string& measure) {
    const Kind* kind = kind_of(measure);
    return kind == nullptr ? std::string{} : std::string(kind->file);
}

std::string frequency_plot_caption(const std::string& file) {
    for (const Kind& kind : kinds) {
        if (file.ends_with(fmt::format("-{}.svg", kind.file))) return std::string(kind.caption);
    }
    return {};
}

bool has_frequency_plot(const TestRecord& record) {
    const Kind* kind = kind_of(record.result.measure);
    return kind != nullptr && !lines_of(*kind, record).empty();
}

capture::Result<std::string> frequency_plot(const Session& session, const TestRecord& record) {
    const Kind* kind = kind_of(record.result.measure);
    const std::vector<Line> lines = kind == nullptr ? std::vector<Line>{} : lines_of(*kind, record);
    if (lines.empty())
        return capture::fail(capture::FaultKind::internal, "the test has no curve against frequency to draw");
    const std::vector<Claimed> claims = claims_of(session, record);
    std::string script = frame_script(*kind, sheet_of(*kind, lines, claims), session.simulated);
    for (const Claimed& claim : claims) script += claim_script(claim);
    const bool response = kind->file == "response";
    const std::string phases = response ? phase_script(lines) : std::string{};
    script += phases;
    PlotTexts texts;
    std::string plot;
    std::vector<ReadCurve> readout;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const Line& line = lines[i];
        const Pen& pen = pens[i % pens.size()];
        script += block(fmt::format("$line{}", i), line.frequency_hz, line.value);
        readout.push_back(
            read_curve(line.name, std::string(kind->unit), line.frequency_hz, line.value, false));
        plot +=
            fmt::format("{}$line{} using 1:2 with lines lw 2.4 lc rgb '{}' dt {} title '{}'",
                        i == 0 ? "" : ", ", i, pen.colour, pen.dash, texts.mark(short_text(line.name, 40)));
        const auto reference = at_1khz(line);
        // One set of thin lines: those of several loads would lie too close to be told apart.
        if (i == 0 && reference && response) {
            script += level_line(*reference - 3.0, "-3 dB") + level_line(*reference - 1.0, "-1 dB");
        }
        if (i == 0 && reference && kind->unit == "W") script += level_line(*reference / 2.0, "half power");
        const std::string limits = response && reference ? limit_block(line, *reference, i) : std::string{};
        if (!limits.empty()) {
            script += limits;
            plot +=
                fmt::format(", $limit{} using 1:2:3:4 with xerrorbars lw 1.6 pt 7 ps 0.6 lc rgb '{}' notitle",
                            i, pen.colour);
        }
        const auto* frequency_hz = line.curve->find("frequency_hz");
        const auto* phase = phases.empty() ? nullptr : line.curve->find("phase_deg");
        if (phase != nullptr) {
            script += block(fmt::format("$phase{}", i), *frequency_hz, *phase);
            plot +=
                fmt::format(", $phase{} using 1:2 axes x1y2 with lines lw 1.2 lc rgb '{}' dt (2,4) notitle",
                            i, pen.colour);
            readout.push_back(read_curve(line.name + ", phase", "°", *frequency_hz, *phase, true));
        }
        if (const auto* least = line.curve->find("separation_at_least_db")) {
            std::vector<double> hidden = *least;
            for (std::size_t j = 0; j < std::min(hidden.size(), line.value.size()); ++j) {
                if (std::isfinite(line.value[j])) hidden[j] = std::numeric_limits<double>::quiet_NaN();
            }
            if (std::any_of(hidden.begin(), hidden.end(), [](double v) { return std::isfinite(v); })) {
                script += block(fmt::format("$least{}", i), *frequency_hz, hidden);
                plot += fmt::format(
                    ", $least{} using 1:2 with points pt 8 ps 0.9 lw 1.6 lc rgb '{}' title 'at least'", i,
                    pen.colour);
            }
        }
    }
    script += "plot " + plot + '\n';
    auto svg = draw(script, record.id + std::string(kind->file), 620, 340);
    if (!svg) return svg;
    return with_readout(texts.put_into(*svg), "frequency", "Hz", readout);
}

}  // namespace assay::cli
