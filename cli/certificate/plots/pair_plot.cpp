#include "cli/certificate/plots/pair_plot.h"

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/certificate/plots/plot_ends.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/comparison/paired_curve.h"
#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

struct Names {
    std::string left{};
    std::string right{};
};

/// By what tells the two apart: the serial number, else the name, else the side alone.
Names names_of(const Session& left, const Session& right) {
    const auto named = [](const std::string& side, const std::string& text) {
        return text.empty() ? side : side + ": " + short_text(text, 30);
    };
    if (left.unit.serial != right.unit.serial)
        return {named("left", left.unit.serial), named("right", right.unit.serial)};
    if (left.unit.model != right.unit.model)
        return {named("left", left.unit.model), named("right", right.unit.model)};
    return {"left", "right"};
}

PlotCurve curve_of(const PairedCurve& paired, bool right, bool angle, const std::string& name) {
    PlotCurve curve{.name = name,
                    .unit = angle              ? "°"
                            : paired.impedance ? "Ω"
                                               : "dB",
                    .pen = right ? 1U : 0U,
                    .legend = !angle};
    for (const PairedPoint& point : paired.points) {
        const std::complex<double> value = right ? point.right : point.left;
        curve.x.push_back(point.frequency_hz);
        curve.y.push_back(angle              ? std::arg(value) * analysis::degrees
                          : paired.impedance ? std::abs(value)
                                             : value.real());
    }
    return curve;
}

PlotEnds ends_of(const std::vector<PlotCurve>& curves) {
    PlotEnds ends;
    for (const PlotCurve& curve : curves) {
        for (const double value : curve.y) ends.hold(value);
    }
    return ends;
}

PlotPanel difference_panel(PlotCurve curve, const std::string& words) {
    PlotPanel panel;
    const auto [low, high] = ends_of({curve});
    const double reach = series_above(1.05 * std::max({-low, high, 1e-3}));
    panel.y = {words, curve.unit, -reach, reach, false, reach / 2.0};
    panel.rules.push_back({.value = 0.0});
    panel.curves.push_back(std::move(curve));
    return panel;
}

std::optional<PlotSheet> sheet_of(const PairedCurve& paired, const Names& names) {
    PlotSheet sheet;
    PlotPanel both;
    PlotPanel phases;
    PlotCurve off{.name = "right less left", .unit = paired.impedance ? "%" : "dB", .pen = 2};
    PlotCurve turned{.name = "right less left, phase", .unit = "°", .pen = 2};
    for (const bool right : {false, true}) {
        const std::string& name = right ? names.right : names.left;
        both.curves.push_back(curve_of(paired, right, false, name));
        phases.curves.push_back(curve_of(paired, right, true, name + ", phase"));
    }
    for (const PairedPoint& point : paired.points) {
        off.x.push_back(point.frequency_hz);
        turned.x.push_back(point.frequency_hz);
        off.y.push_back(paired.impedance ? 100.0 * (std::abs(point.right) / std::abs(point.left) - 1.0)
                                         : point.difference_db());
        turned.y.push_back(std::arg(point.right / point.left) * analysis::degrees);
    }
    const auto [low, high] = ends_of(both.curves);
    if (!(high >= low) || (paired.impedance && !(low > 0.0)) || paired.points.size() < 2) return std::nullopt;
    both.share = 1.7;
    sheet.x = frequency_scale(paired.points.front().frequency_hz, paired.points.back().frequency_hz);
    if (!paired.impedance) {
        both.y = scale_around("gain", "dB", low, high);
        sheet.panels = {std::move(both), difference_panel(std::move(off), "difference")};
        sheet.height = 380;
        return sheet;
    }
    both.y = {"impedance", "Ω", 0.8 * low, 1.3 * high, true, 0.0};
    const auto [least_deg, most_deg] = ends_of(phases.curves);
    const double reach = std::max(-least_deg, most_deg) > 90.0 ? 180.0 : 90.0;
    phases.y = {"phase", "°", -reach, reach, false, reach / 2.0};
    sheet.panels = {std::move(both), std::move(phases), difference_panel(std::move(off), "difference"),
                    difference_panel(std::move(turned), "difference")};
    sheet.height = 560;
    return sheet;
}

void add_pair(const std::string& file, const Numbers& left, const Numbers& right, const Names& names,
              std::vector<NamedPlot>& plots) {
    for (const auto& [name, curve] : left.curves) {
        for (const auto& [other_name, other] : right.curves) {
            const auto paired = name == other_name ? paired_curve(curve, other) : std::nullopt;
            const auto sheet = paired ? sheet_of(*paired, names) : std::nullopt;
            if (!sheet) continue;
            const bool only = std::none_of(plots.begin(), plots.end(), [&](const NamedPlot& plot) {
                return plot.file == file + "-pair.svg";
            });
            plots.push_back(
                {file + (only ? "" : "-" + plain_name(name)) + "-pair.svg", {"pair", {}, *sheet}});
        }
    }
}

}  // namespace

std::vector<NamedPlot> pair_plots(const Session& left, const Session& right) {
    std::vector<NamedPlot> plots;
    const Names names = names_of(left, right);
    for (const TestRecord& record : left.tests) {
        const TestRecord* other = right.find(record.id);
        if (other == nullptr || other->result.measure != record.result.measure) continue;
        const std::string file = plain_name(record.id);
        add_pair(file, record.result.whole, other->result.whole, names, plots);
        for (const auto& [load, numbers] : record.result.loads) {
            if (const Numbers* there = other->result.load(load))
                add_pair(file + "-" + plain_name(load), numbers, *there, names, plots);
        }
    }
    return plots;
}

}  // namespace assay::cli
