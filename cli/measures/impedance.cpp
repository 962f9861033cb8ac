#include "cli/measures/impedance.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/driver/curve_reading.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/jig/impedance_reading.h"
#include "cli/measures/jig/impedance_remarks.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli::impedance {

namespace {

using analysis::Absent;
using analysis::Quantity;

constexpr double least_peak = 1.08;  // height over the troughs beside it, of what is called the resonance
constexpr double half_octave = std::numbers::sqrt2;

capture::Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::bad_input_file, text, mend);
    };
    if (!setup.test->text("from_file")) {
        const auto match = setup.test->text("match");
        if (match && setup.named) {
            const auto named = setup.named(*match);
            if (!named || named->test->measure != "match")
                return refuse(fmt::format("match: the job has no match test \"{}\"", *match),
                              "give the id of a test of measure match, or leave it out");
            const auto line_of = [](const Test& test) {
                const auto line = test.lines.find("");
                return line == test.lines.end() ? 0 : line->second;
            };
            if (line_of(*named->test) > line_of(*setup.test))
                return refuse(fmt::format("match: the test \"{}\" comes after this one", *match),
                              "put the match test before the tests that use it");
        }
        return check_jig_test(setup);
    }
    if (setup.test->text("from_file")->empty())
        return refuse("from_file: is empty", "name the file that holds the curve");
    for (const char* field : {"drive_dbfs", "drive_volts", "power_w", "match"}) {
        if (setup.test->fields.contains(field))
            return refuse(fmt::format("{}: means nothing beside from_file", field), "take it out");
    }
    return {};
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (setup.test->text("from_file")) return std::nullopt;
    return next_jig_tone(setup, takes);
}

analysis::Curve curve_columns(const analysis::ImpedanceCurve& curve) {
    analysis::Curve result;
    result.columns = {{"frequency_hz"},
                      {"magnitude_ohm"},
                      {"phase_deg"},
                      {"magnitude_expanded_uncertainty_ohm"},
                      {"phase_expanded_uncertainty_deg"},
                      {"scatter_ohm"}};
    for (std::size_t i = 0; i < curve.points.size(); ++i) {
        const analysis::ImpedancePoint& point = curve.points[i];
        const analysis::PointDoubt doubt = analysis::doubt_of_point(curve, i);
        const std::array<double, 6> row{point.frequency_hz,
                                        std::abs(point.z_ohm),
                                        std::arg(point.z_ohm) * analysis::degrees,
                                        Quantity::coverage_factor * doubt.magnitude_ohm,
                                        Quantity::coverage_factor * doubt.phase_rad * analysis::degrees,
                                        std::sqrt(point.variance_ohm2)};
        for (std::size_t c = 0; c < row.size(); ++c) result.columns[c].values.push_back(row[c]);
    }
    return result;
}

void add_quantities(const Setup& setup, const ImpedanceReading& reading,
                    const std::vector<analysis::CurvePeak>& peaks, TestResult& result) {
    const analysis::ImpedanceCurve& curve = reading.full.curve;
    const std::string noise = "test:" + setup.test->id + ":noise";
    Numbers& found = result.whole;
    std::size_t above = 0;
    if (peaks.empty()) {
        const Absent none{
            "no-resonance",
            fmt::format("no resonance stands out between {:.4g} and {:.4g} Hz",
                        curve.points.front().frequency_hz, curve.points.back().frequency_hz),
            "if this is a loudspeaker driver: its coil may be stuck or its suspension hard; or the "
            "resonance lies outside start_hz to stop_hz"};
        found.add_absent("resonance_hz", none);
        found.absent.emplace_back("volts_at_resonance_v", none);
    } else {
        const analysis::CurvePeak& main = peaks.front();
        analysis::ReadPoint read = analysis::read_peak(curve, main, noise);
        if (reading.take) add_clock_doubt(read.frequency_hz);
        found.add("resonance_hz", read.frequency_hz);
        found.add("maximum_ohm", read.magnitude_ohm);
        above = main.index;
    }
    analysis::ReadPoint minimum = analysis::read_minimum(curve, above, noise);
    if (reading.take) add_clock_doubt(minimum.frequency_hz);
    found.add("minimum_ohm", minimum.magnitude_ohm);
    found.add("minimum_hz", minimum.frequency_hz);
    if (peaks.empty()) {
        const auto highest = std::max_element(
            curve.points.begin(), curve.points.end(),
            [](const auto& a, const auto& b) { return std::abs(a.z_ohm) < std::abs(b.z_ohm); });
        if (auto value = analysis::read_magnitude(curve, highest->frequency_hz, noise))
            found.add("maximum_ohm", *value);
    }
    if (auto value = analysis::read_magnitude(curve, 1000.0, noise)) {
        found.add("impedance_1khz_ohm", *value);
    } else {
        found.add_absent("impedance_1khz_ohm", {"outside-band", "the curve does not reach to 1 kHz",
                                                "widen start_hz and stop_hz if the number matters"});
    }
    if (peaks.empty()) return;
    if (reading.take) {
        const double resonance_hz = found.find("resonance_hz")->value;
        found.add("volts_at_resonance_v",
                  driver_volts(setup, reading.take->full, reading.match, resonance_hz / half_octave,
                               resonance_hz * half_octave));
    } else {
        found.add_absent("volts_at_resonance_v", {"from-file", "the curve's file does not tell the level",
                                                  "note the level with the curve, as `note`"});
    }
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "impedance";
    auto reading = read_impedance(setup, takes);
    if (!reading) {
        result.fault = reading.error();
        return result;
    }
    const std::vector<analysis::CurvePeak> peaks = analysis::peaks_of(reading->full.curve, least_peak);
    for (const char* field : {"added_mass_g", "test_box_l"}) {
        if (const auto value = setup.test->number(field)) result.conditions.emplace_back(field, *value);
    }
    if (reading->take) {
        add_jig_conditions(setup, takes.front(), *reading->take, result);
        result.conditions.emplace_back("lines_used", static_cast<double>(reading->full.curve.points.size()));
        result.conditions.emplace_back("lines_disturbed", static_cast<double>(reading->full.disturbed));
        result.conditions.emplace_back("lines_weak", static_cast<double>(reading->full.weak));
        result.conditions.emplace_back("match", std::string(reading->match ? "corrected" : "none"));
        warn_of_exact_jig(setup, !reading->match, result);
    } else {
        result.conditions.emplace_back("source", "file " + *setup.test->text("from_file"));
        result.conditions.emplace_back("points", static_cast<double>(reading->full.curve.points.size()));
        add_readings(*setup.test, result);
        result.whole.warn(
            "scatter-alone",
            "the file tells nothing of its resistor, scales and level: the uncertainties hold the "
            "points' scatter alone",
            "measure it on a bench whose uncertainties are stated, if they matter");
    }
    add_quantities(setup, *reading, peaks, result);
    add_remarks(*reading, peaks, "test:" + setup.test->id + ":noise", result);
    result.whole.curves.emplace_back("impedance", curve_columns(reading->full.curve));
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "impedance";
    measure.summary = "a driver's impedance against frequency, through a series resistor or from a file";
    measure.fields = jig_fields();
    measure.fields.push_back({.name = "added_mass_g",
                              .type = FieldType::number,
                              .unit = "g",
                              .minimum = 0.01,
                              .maximum = 10000.0,
                              .help = "mass stuck to the cone for this test"});
    measure.fields.push_back({.name = "test_box_l",
                              .type = FieldType::number,
                              .unit = "l",
                              .minimum = 0.01,
                              .maximum = 10000.0,
                              .help = "net volume of the closed box that the driver sits on, litres"});
    measure.fields.push_back(
        {.name = "match",
         .type = FieldType::text,
         .help = "id of the match test to correct the inputs by; left out: the bench's match file"});
    measure.fields.push_back(
        {.name = "from_file",
         .type = FieldType::text,
         .help = "a file with the curve, instead of a capture: CSV, text or Touchstone"});
    measure.quantities = {
        {"minimum_ohm", "ohm", false, "the least ohms that an amplifier meets above the resonance"},
        {"minimum_hz", "Hz", false, "where the impedance is lowest, above the resonance"},
        {"maximum_ohm", "ohm", false,
         "impedance at the top of the resonance peak; without a peak, the highest of the curve"},
        {"resonance_hz", "Hz", false,
         "frequency of the highest peak; a rise towards an end of the curve is none"},
        {"impedance_1khz_ohm", "ohm", false, "impedance at 1 kHz"},
        {"volts_at_resonance_v", "V", false,
         "level of the test: volts RMS across the driver within the octave around the resonance"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::impedance
