#include "cli/measures/jig/jig_curve.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "analysis/driver/curve_reading.h"
#include "cli/measures/recording/placing.h"

namespace assay::cli {

namespace {

using analysis::LineState;
using Complex = std::complex<double>;

constexpr double largest_scatter = 0.1;  // of the magnitude; a point less certain is left out

struct CorrectedLine {
    double frequency_hz = 0.0;
    Complex h{};            // after the match
    double variance = 0.0;  // of its parts
};

CorrectedLine after_match(const analysis::TransferLine& line, const std::optional<InputMatch>& match) {
    if (!match) return {line.frequency_hz, line.ratio, line.variance};
    const MatchPoint point = match->at(line.frequency_hz);
    const Complex h = line.ratio / point.ratio;
    return {line.frequency_hz, h, (line.variance + std::norm(h) * point.variance) / std::norm(point.ratio)};
}

/// Relative changes of the ratio of the two volts, by source: what both scales share cancels.
std::map<std::string, double> scale_doubts(const capture::Bench& bench) {
    std::map<std::string, double> doubts;
    for (const capture::RelativeDoubt& doubt : bench.inputs[bench.jig->driver_side].scale_doubts)
        doubts[doubt.source_id] += doubt.relative;
    for (const capture::RelativeDoubt& doubt : bench.inputs[bench.jig->generator_side].scale_doubts)
        doubts[doubt.source_id] -= doubt.relative;
    std::erase_if(doubts, [](const auto& entry) { return entry.second == 0.0; });
    return doubts;
}

/// Relative change of each line's ratio, after the match, for one standard uncertainty of each source.
std::map<std::string, std::vector<Complex>> ratio_doubts(const capture::Bench& bench,
                                                         const std::vector<CorrectedLine>& lines,
                                                         const std::optional<InputMatch>& match) {
    std::map<std::string, std::vector<Complex>> doubts;
    if (!match) {
        for (const auto& [source, relative] : scale_doubts(bench))
            doubts[source].assign(lines.size(), relative);
        return doubts;
    }
    for (const auto& [source, changes] : match->relative_doubts) {
        std::vector<Complex>& of_lines = doubts[source];
        for (const CorrectedLine& line : lines)
            of_lines.push_back(-match->doubt_at(source, line.frequency_hz));
    }
    return doubts;
}

void add_systematic(const Setup& setup, const std::vector<CorrectedLine>& lines,
                    const std::vector<analysis::JigImpedance>& impedances,
                    const std::optional<InputMatch>& match, analysis::ImpedanceCurve& curve) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const auto add = [&](const std::string& source, auto change_of) {
        std::vector<Complex>& changes = curve.systematic[source];
        changes.resize(lines.size());
        for (std::size_t i = 0; i < lines.size(); ++i) changes[i] += change_of(i);
    };
    for (const capture::RelativeDoubt& doubt : jig.series_doubts)
        add(doubt.source_id,
            [&](std::size_t i) { return impedances[i].dz_dseries * (jig.series_ohm * doubt.relative); });
    for (const auto& [source, relative] : ratio_doubts(*setup.bench, lines, match))
        add(source, [&, &of_line = relative](std::size_t i) {
            return impedances[i].dz_dh * lines[i].h * of_line[i];
        });
}

void erase_points(analysis::ImpedanceCurve& curve, const std::vector<std::size_t>& rising) {
    for (auto index = rising.rbegin(); index != rising.rend(); ++index) {
        curve.points.erase(curve.points.begin() + static_cast<std::ptrdiff_t>(*index));
        for (auto& [source, changes] : curve.systematic)
            changes.erase(changes.begin() + static_cast<std::ptrdiff_t>(*index));
    }
}

}  // namespace

analysis::JigModel jig_model(const capture::ImpedanceJig& jig) {
    return {jig.topology == capture::ImpedanceJig::Topology::sense_low, jig.series_ohm, jig.lead_ohm,
            jig.input_resistance_ohm ? 1.0 / *jig.input_resistance_ohm : 0.0};
}

JigCurve curve_of_transfer(const Setup& setup, const analysis::LineTransfer& transfer,
                           const std::optional<InputMatch>& match) {
    JigCurve result;
    const analysis::JigModel model = jig_model(*setup.bench->jig);
    std::vector<CorrectedLine> lines;
    std::vector<analysis::JigImpedance> impedances;
    double weak_so_far = 0.0;
    double seen_so_far = 0.0;
    for (const analysis::TransferLine& line : transfer.lines) {
        seen_so_far += 1.0;
        if (line.state == LineState::disturbed) {
            ++result.disturbed;
            continue;
        }
        const CorrectedLine corrected = after_match(line, match);
        const analysis::JigImpedance z = impedance_in_jig(model, corrected.h);
        const double variance = std::norm(z.dz_dh) * corrected.variance;
        const bool sound = line.state == LineState::sound && std::isfinite(std::abs(z.z_ohm)) &&
                           std::isfinite(variance) &&
                           std::sqrt(variance) < largest_scatter * std::abs(z.z_ohm);
        if (!sound) {
            ++result.weak;
            weak_so_far += 1.0;
            if (weak_so_far > 0.5 * seen_so_far) result.weak_below_hz = line.frequency_hz;
            continue;
        }
        lines.push_back(corrected);
        impedances.push_back(z);
        result.curve.points.push_back({line.frequency_hz, z.z_ohm, variance});
    }
    add_systematic(setup, lines, impedances, match, result.curve);
    const std::vector<std::size_t> strays = analysis::stray_points(result.curve);
    result.disturbed += strays.size();
    erase_points(result.curve, strays);
    return result;
}

capture::Result<void> check_wiring(const Setup& setup, const Take& take,
                                   const analysis::LineTransfer& transfer,
                                   const std::optional<InputMatch>& match) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const std::string& generator = setup.bench->inputs[jig.generator_side].name;
    const std::string& driver = setup.bench->inputs[jig.driver_side].name;
    const analysis::JigModel model = jig_model(jig);
    const auto refuse = [&](const std::string& what, const std::string& mend) {
        return capture::fail(capture::FaultKind::untrusted_capture, file_of(take) + ": " + what, mend);
    };
    std::vector<double> sizes;       // |h|
    std::vector<double> real_parts;  // of h
    std::vector<double> heights;     // |Z|
    double negative = 0.0;           // resistances, beyond their scatter
    double negative_hz = 0.0;
    for (const analysis::TransferLine& line : transfer.lines) {
        if (line.state == LineState::weak) continue;
        const CorrectedLine corrected = after_match(line, match);
        const analysis::JigImpedance z = impedance_in_jig(model, corrected.h);
        sizes.push_back(std::abs(corrected.h));
        real_parts.push_back(corrected.h.real());
        heights.push_back(std::isfinite(std::abs(z.z_ohm)) ? std::abs(z.z_ohm) : 1e12);
        const double scatter = std::abs(z.dz_dh) * std::sqrt(corrected.variance);
        if (z.z_ohm.real() < -5.0 * scatter - 0.01 * jig.series_ohm) {
            negative += 1.0;
            negative_hz = line.frequency_hz;
        }
    }
    if (sizes.size() < transfer.lines.size() / 10 + 1) {
        return refuse(
            fmt::format(
                "no signal at the generator's side: the tone does not stand out of the noise in \"{}\"",
                generator),
            "check the amplifier, the leads and the input; or raise the level");
    }
    const auto part = [](std::vector<double> values, double share) {
        const auto at =
            values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
        std::nth_element(values.begin(), at, values.end());
        return *at;
    };
    const double size = part(sizes, 0.5);
    const double spread = part(sizes, 0.95) - part(sizes, 0.05);
    const double height = part(heights, 0.5);
    const std::string where_open = model.sense_low ? "nothing comes through the driver"
                                                   : "both sides of the series resistor see the same voltage";
    if (part(real_parts, 0.5) < -0.5 * size && size > 1e-3) {
        return refuse(
            fmt::format("one of the inputs \"{}\" and \"{}\" is reversed: their voltages are opposite",
                        generator, driver),
            "turn its leads round, or set inverted = true for it");
    }
    const bool all_alike = std::abs(size - 1.0) < 0.1 && spread < 0.02;
    if (size > 1.02 && !all_alike) {
        return refuse(
            fmt::format("swapped inputs: \"{}\" sees {:.3g} times the voltage of \"{}\", and should see less",
                        driver, size, generator),
            "exchange the two leads, or generator_side and driver_side in the bench file");
    }
    const double open_ohm = std::max(2000.0, 50.0 * jig.series_ohm);
    if (model.sense_low ? height > open_ohm : (all_alike || height > open_ohm)) {
        return refuse(
            "no driver in the jig, or an open one: " + where_open +
                fmt::format(" (median {} ohm)",
                            height > 1e6 ? std::string("above 1 M") : fmt::format("{:.3g}", height)),
            "connect the driver, check its leads and its coil with an ohmmeter; open means a broken coil");
    }
    const double short_ohm = std::min(0.1, 0.02 * jig.series_ohm);
    if (height < short_ohm || (model.sense_low && all_alike)) {
        return refuse(
            fmt::format("a short in the driver's place: the median impedance is {:.2g} ohm", height),
            "look for touching leads, and whether \"" + driver + "\" is connected at all");
    }
    if (negative > 0.1 * static_cast<double>(sizes.size())) {
        return refuse(
            fmt::format("wrong wiring: the resistance comes out negative, e.g. at {:.4g} Hz", negative_hz),
            "check which lead goes where; if it is right, take a match test: the two inputs differ too much");
    }
    return {};
}

analysis::Quantity driver_volts(const Setup& setup, const analysis::LineTransfer& transfer,
                                const std::optional<InputMatch>& match, double from_hz, double to_hz) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const bool low = jig.topology == capture::ImpedanceJig::Topology::sense_low;
    std::vector<CorrectedLine> lines;
    std::vector<double> generator_v;
    double square = 0.0;
    for (const analysis::TransferLine& line : transfer.lines) {
        if (line.state == LineState::weak || line.frequency_hz < from_hz || line.frequency_hz > to_hz)
            continue;
        lines.push_back(after_match(line, match));
        generator_v.push_back(line.generator_v);
        const double volts = low ? std::abs(1.0 - lines.back().h) * line.generator_v : line.driver_v;
        square += volts * volts;
    }
    analysis::Quantity quantity{std::sqrt(square), "V", {}};
    const capture::Input& input = setup.bench->inputs[low ? jig.generator_side : jig.driver_side];
    for (const capture::RelativeDoubt& doubt : input.scale_doubts)
        quantity.contributions[doubt.source_id] += quantity.value * doubt.relative;
    if (!low || quantity.value == 0.0) return quantity;
    // The driver's volts are a difference, (1 - h) of the generator's: the ratio's doubt moves it as well.
    for (const auto& [source, relative] : ratio_doubts(*setup.bench, lines, match)) {
        double half_square = 0.0;
        for (std::size_t i = 0; i < lines.size(); ++i) {
            const Complex change = -lines[i].h * relative[i];
            half_square += (std::conj(1.0 - lines[i].h) * change).real() * generator_v[i] * generator_v[i];
        }
        quantity.contributions[source] += half_square / quantity.value;
    }
    return quantity;
}

}  // namespace assay::cli
