#include "cli/measures/match.h"

#include <fmt/format.h>

#include <cmath>

#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/impedance.h"
#include "cli/measures/jig/jig_curve.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli::match {

namespace {

using Complex = std::complex<double>;

// Two inputs of one card differ by less; more means that they do not sit on one node.
constexpr double largest_ratio = 1.5;
constexpr double largest_phase_rad = 0.5;  // at 1 kHz and below

struct MatchReading {
    JigTake take{};
    InputMatch match{};
};

/// With a known resistor in the driver's place: what the doubts of the resistors make of the ratio.
void add_known_doubts(const Setup& setup, const std::vector<analysis::TransferLine>& lines,
                      InputMatch& match) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const double known = *setup.test->number("known_ohm");
    const analysis::JigModel model = jig_model(jig);
    const auto add = [&](const std::string& source, const analysis::JigModel& moved, double moved_ohm) {
        auto& changes = match.relative_doubts[source];
        changes.resize(match.points.size());
        std::size_t i = 0;
        for (const analysis::TransferLine& line : lines) {
            if (line.state != analysis::LineState::sound) continue;
            const Complex before = analysis::ratio_in_jig(model, known);
            const Complex after = analysis::ratio_in_jig(moved, moved_ohm);
            // The match is what was seen over what should be seen.
            changes[i++] += before / after - 1.0;
        }
    };
    for (const capture::RelativeDoubt& doubt : jig.series_doubts) {
        analysis::JigModel moved = model;
        moved.series_ohm *= 1.0 + doubt.relative;
        add(doubt.source_id, moved, known);
    }
    const double relative = field_number(*setup.test, "known_uncertainty_percent") / 100.0;
    add("test:" + setup.test->id + ":known-resistor", model, known * (1.0 + relative));
}

capture::Result<MatchReading> read_match_take(const Setup& setup, std::span<const Take> takes) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::untrusted_capture, text, mend);
    };
    if (takes.empty()) return refuse("nothing was recorded", "record the test's tone");
    auto take = read_jig_take(setup, takes.front());
    if (!take) return tl::unexpected<capture::Fault>(take.error());
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const capture::Input& generator = setup.bench->inputs[jig.generator_side];
    const capture::Input& driver = setup.bench->inputs[jig.driver_side];
    MatchReading reading{std::move(*take),
                         {generator.name, driver.name, generator.volts_per_unit(), driver.volts_per_unit()}};
    const auto known = setup.test->number("known_ohm");
    const Complex expected = known ? analysis::ratio_in_jig(jig_model(jig), *known) : Complex(1.0);
    for (const analysis::TransferLine& line : reading.take.full.lines) {
        if (line.state != analysis::LineState::sound) continue;
        const MatchPoint point{line.frequency_hz, line.ratio / expected, line.variance / std::norm(expected)};
        const double size = std::abs(point.ratio);
        const bool far = size > largest_ratio || size < 1.0 / largest_ratio ||
                         (point.frequency_hz < 1000.0 && std::abs(std::arg(point.ratio)) > largest_phase_rad);
        if (far) {
            return refuse(
                fmt::format(
                    "{}: \"{}\" sees {:.3g} times the voltage of \"{}\" at {:.4g} Hz ({:+.0f} degrees)",
                    file_of(takes.front()), driver.name, size, generator.name, point.frequency_hz,
                    std::arg(point.ratio) * analysis::degrees),
                known ? "check that the known resistor is in the driver's place, and known_ohm"
                      : "put both inputs on one node: the generator's side, the driver taken out");
        }
        reading.match.points.push_back(point);
    }
    if (reading.match.points.size() < reading.take.full.lines.size() / 2) {
        return refuse(
            fmt::format("{}: level too low: only {} of {} frequencies stand out of the noise",
                        file_of(takes.front()), reading.match.points.size(), reading.take.full.lines.size()),
            "raise the level, check the leads");
    }
    if (known) add_known_doubts(setup, reading.take.full.lines, reading.match);
    return reading;
}

/// A figure of the match at one frequency, with its doubts: per cent of the ratio's size, or degrees.
void add_figure(const std::string& name, double frequency_hz, bool phase, const std::string& noise_source,
                const InputMatch& match, Numbers& found) {
    if (!match.covers(frequency_hz, frequency_hz)) {
        found.add_absent(name,
                         {"outside-band", fmt::format("the match does not reach to {:.6g} Hz", frequency_hz),
                          "widen start_hz and stop_hz if the number matters"});
        return;
    }
    const MatchPoint point = match.at(frequency_hz);
    analysis::Quantity quantity{
        phase ? std::arg(point.ratio) * analysis::degrees : db_per_relative * std::log(std::abs(point.ratio)),
        phase ? "deg" : "dB",
        {}};
    const double unit = phase ? analysis::degrees : db_per_relative;
    const double scatter = std::sqrt(point.variance) / std::abs(point.ratio);
    if (scatter > 0.0) quantity.contributions[noise_source] = unit * scatter;
    for (const auto& [source, changes] : match.relative_doubts) {
        const Complex change = match.doubt_at(source, frequency_hz);
        const double part = phase ? change.imag() : change.real();
        if (part != 0.0) quantity.contributions[source] += unit * part;
    }
    found.add(name, quantity);
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "match";
    const auto reading = read_match_take(setup, takes);
    if (!reading) {
        result.fault = reading.error();
        return result;
    }
    add_jig_conditions(setup, takes.front(), reading->take, result);
    if (const auto known = setup.test->number("known_ohm")) {
        result.conditions.emplace_back("known_ohm", *known);
        warn_of_exact_jig(setup, false, result);
    }
    const std::string noise = "test:" + setup.test->id + ":noise";
    add_figure("ratio_1khz_db", 1000.0, false, noise, reading->match, result.whole);
    add_figure("ratio_10khz_db", 10000.0, false, noise, reading->match, result.whole);
    add_figure("phase_10khz_deg", 10000.0, true, noise, reading->match, result.whole);
    analysis::Curve curve;
    curve.columns = {{"frequency_hz"}, {"ratio_magnitude"}, {"ratio_phase_deg"}, {"scatter"}};
    for (const MatchPoint& point : reading->match.points) {
        curve.columns[0].values.push_back(point.frequency_hz);
        curve.columns[1].values.push_back(std::abs(point.ratio));
        curve.columns[2].values.push_back(std::arg(point.ratio) * analysis::degrees);
        curve.columns[3].values.push_back(std::sqrt(point.variance));
    }
    result.whole.curves.emplace_back("match", std::move(curve));
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "match";
    measure.summary = "how the two inputs of the impedance jig differ, both on one node";
    measure.fields = jig_fields();
    measure.fields.push_back(
        {.name = "known_ohm",
         .type = FieldType::number,
         .unit = "ohm",
         .minimum = 0.01,
         .maximum = 1e6,
         .help = "a known resistor is in the driver's place, instead of both inputs on one node"});
    measure.fields.push_back({.name = "known_uncertainty_percent",
                              .type = FieldType::number,
                              .unit = "%",
                              .default_text = "0.1",
                              .minimum = 0.0,
                              .maximum = 50.0,
                              .help = "standard uncertainty of known_ohm"});
    measure.quantities = {
        {"ratio_1khz_db", "dB", false, "driver-side input over generator-side input at 1 kHz"},
        {"ratio_10khz_db", "dB", false, "the same at 10 kHz"},
        {"phase_10khz_deg", "deg", false, "phase of the driver-side input re the other at 10 kHz"},
    };
    measure.check = check_jig_test;
    measure.next = next_jig_tone;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::match

namespace assay::cli {

capture::Result<InputMatch> match_of(const Setup& setup, std::span<const Take> takes) {
    auto reading = match::read_match_take(setup, takes);
    if (!reading) return tl::unexpected<capture::Fault>(reading.error());
    return std::move(reading->match);
}

}  // namespace assay::cli
