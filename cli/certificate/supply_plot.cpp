#include "cli/certificate/supply_plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "cli/certificate/gnuplot.h"
#include "cli/certificate/readout.h"
#include "cli/files/plain_text.h"
#include "cli/files/power_text.h"

namespace assay::cli {
namespace {

constexpr std::size_t fewest = 3;

struct Pen {
    const char* colour;
    int point;
};
constexpr std::array<Pen, 4> pens{{{"#12405f", 7}, {"#a02b20", 5}, {"#1f6b3d", 9}, {"#6b5a12", 11}}};

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

bool has_supply_plot(const Session& session) {
    return !series_of(power_table(session)).empty();
}

capture::Result<std::string> supply_plot(const Session& session) {
    const PowerTable table = power_table(session);
    const std::vector<Series> all = series_of(table);
    if (all.empty())
        return capture::fail(capture::FaultKind::internal, "no power was measured on three supplies");
    PlotTexts texts;
    std::string data;
    std::string plot;
    std::vector<ReadCurve> readout;
    double low_v = all.front().points.front().volts;
    double high_v = low_v;
    double high_w = 0.0;
    for (std::size_t i = 0; i < all.size(); ++i) {
        const Pen& pen = pens[i % pens.size()];
        data += fmt::format("$supply{} << END\n", i);
        readout.push_back({all[i].name, "W", {}, false});
        for (const Point& point : all[i].points) {
            data += fmt::format("{:.9g} {:.9g} {:.9g}\n", point.volts, point.watts, point.expanded_w);
            readout.back().points.emplace_back(point.volts, point.watts);
            low_v = std::min(low_v, point.volts);
            high_v = std::max(high_v, point.volts);
            high_w = std::max(high_w, point.watts + point.expanded_w);
        }
        data += "END\n";
        plot += fmt::format(
            "{0}$supply{1} using 1:2 with lines lw 1.6 lc rgb '{2}' notitle, "
            "$supply{1} using 1:2:3 with yerrorbars lw 1.6 pt {3} ps 0.9 lc rgb '{2}' title '{4}'",
            i == 0 ? "" : ", ", i, pen.colour, pen.point, texts.mark(short_text(all[i].name, 60)));
    }
    const double margin = 0.08 * (high_v - low_v);
    std::string script = fmt::format(
        "set xrange [{:.9g}:{:.9g}]\nset yrange [0:{:.9g}]\nset mxtics 0\n"
        "set border 3 lc rgb '#50565c' lw 1\nset tics nomirror out scale 0.6 textcolor rgb '#30363c'\n"
        "set grid xtics ytics lt 1 lc rgb '#e1e4e7' lw 0.7\n"
        "set xlabel 'supply at the terminals / V' textcolor rgb '#30363c'\n"
        "set ylabel 'power, all loads, {} / W' textcolor rgb '#30363c'\n"
        "set key outside top left horizontal Left reverse samplen 3 width 2 maxcols 1 textcolor rgb "
        "'#1c2126'\nset lmargin 9\nset rmargin 4\n",
        low_v - margin, high_v + margin, 1.1 * high_w, limit_heading(table, headline_limit(table)));
    if (session.simulated) script += simulated_mark(24, 18);
    script += data + "plot " + plot + '\n';
    auto svg = draw(script, "power-supply", 620, 320);
    if (!svg) return svg;
    return with_readout(texts.put_into(*svg), "supply", "V", readout);
}

}  // namespace assay::cli
