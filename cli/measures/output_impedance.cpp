#include "cli/measures/output_impedance.h"

#include <fmt/format.h>

#include <cmath>

#include "analysis/amplifier/output_impedance.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/plain_number.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/trusted_steps.h"
#include "cli/measures/sweep/response_reading.h"

namespace assay::cli::output_impedance {

namespace {

using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double at_hz = 1000.0;
constexpr int points_per_octave = 24;
constexpr double henry_per_uh = 1e-6;
constexpr double stands_out = 3.0;  // times its standard uncertainty, below which there is no number

const capture::Load& load_of(const Setup& setup, const Test& test) {
    return setup.bench->loads[test.loads.front()];
}

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    if (!setup.named) return {};
    for (const char* field : {"loaded", "unloaded"}) {
        const std::string id = field_text(*setup.test, field);
        const auto named = setup.named(id);
        if (!named || named->test->measure != "response")
            return refuse(fmt::format("{}: the job has no response test \"{}\"", field, id),
                          "give the id of a response test of this job");
        if (named->test->loads.size() != 1)
            return refuse(fmt::format("{}: test \"{}\" measures more than one load", field, id),
                          "make a response test of one load, for this output alone");
        if (named->test->number("power_w"))
            return refuse(
                fmt::format("{}: test \"{}\" asks for a power, and its partner has none", field, id),
                "give both tests the same drive_dbfs or drive_volts");
        const bool finite = std::isfinite(load_of(setup, *named->test).resistance_ohm);
        if (finite != (std::string(field) == "loaded")) {
            return refuse(
                fmt::format("{}: load \"{}\" of test \"{}\" {}", field, load_of(setup, *named->test).name, id,
                            finite ? "has a resistance" : "has no resistance"),
                finite ? "the unloaded test's load is one with resistance_ohm = inf"
                       : "the loaded test's load needs its resistance_ohm");
        }
    }
    const Test& loaded = *setup.named(field_text(*setup.test, "loaded"))->test;
    const Test& unloaded = *setup.named(field_text(*setup.test, "unloaded"))->test;
    if (loaded.reference.has_value() != unloaded.reference.has_value())
        return refuse("unloaded: only one of the two tests has a reference",
                      "give both the same reference, or none");
    return {};
}

Result<ResponseReading> read_named(const Setup& setup, const NamedTest& named) {
    if (named.takes.empty()) {
        return capture::fail(FaultKind::untrusted_capture,
                             fmt::format("test \"{}\" has no recording", named.test->id),
                             "put that test before this one, and record it");
    }
    Setup other = setup;
    other.test = named.test;
    return read_response(other, named.takes.front());
}

/// Gains of both tests at a frequency, per unit of the tone or of the reference's volts.
struct Pair {
    const ResponseReading* loaded = nullptr;
    const ResponseReading* unloaded = nullptr;

    std::complex<double> gain(const ResponseReading& reading, double frequency_hz) const {
        const std::complex<double> volts = reading.loads.front().at(frequency_hz);
        return reading.reference ? volts / reading.reference->at(frequency_hz) : volts;
    }
    /// Relative, of the ratio: real and imaginary part each.
    double noise(double frequency_hz) const {
        double square = 0.0;
        for (const ResponseReading* reading : {loaded, unloaded}) {
            square += std::pow(reading->loads.front().relative_noise_at(frequency_hz), 2.0);
            if (reading->reference)
                square += std::pow(reading->reference->relative_noise_at(frequency_hz), 2.0);
        }
        return std::sqrt(square);
    }
    std::complex<double> impedance(const capture::Load& load, double frequency_hz) const {
        const std::complex<double> ohm = analysis::load_impedance(
            load.resistance_ohm, load.inductance_uh.value_or(0.0) * henry_per_uh, frequency_hz);
        return analysis::output_impedance(gain(*unloaded, frequency_hz), gain(*loaded, frequency_hz), ohm);
    }
};

TestResult evaluate(const Setup& setup, std::span<const Take>) {
    TestResult result;
    result.measure = "output-impedance";
    const auto loaded_test = setup.named ? setup.named(field_text(*setup.test, "loaded")) : std::nullopt;
    const auto unloaded_test = setup.named ? setup.named(field_text(*setup.test, "unloaded")) : std::nullopt;
    if (!loaded_test || !unloaded_test) {
        result.fault = nothing_recorded();
        return result;
    }
    const auto loaded = read_named(setup, *loaded_test);
    const auto unloaded = loaded ? read_named(setup, *unloaded_test) : loaded;
    if (!loaded || !unloaded) {
        result.fault = !loaded ? loaded.error() : unloaded.error();
        return result;
    }
    const capture::Load& load = load_of(setup, *loaded_test->test);
    const capture::Load& open = load_of(setup, *unloaded_test->test);
    const Pair pair{&*loaded, &*unloaded};
    result.conditions.emplace_back("loaded", loaded_test->test->id);
    result.conditions.emplace_back("unloaded", unloaded_test->test->id);
    result.conditions.emplace_back("load_ohm." + load.name, load.resistance_ohm);
    add_readings(*setup.test, result);

    const std::string source = "test:" + setup.test->id + ":";
    // Without a reference the two recordings' places in time are known by the marks only.
    const bool aligned = loaded->reference.has_value();
    analysis::Curve curve;
    curve.columns = {{"frequency_hz"}, {"magnitude_ohm"}, {"phase_deg"}, {"scatter_ohm"}};
    const double from_hz = std::max(loaded->start_hz, unloaded->start_hz);
    const double to_hz = std::min(loaded->stop_hz, unloaded->stop_hz);
    const auto value_at = [&](double frequency_hz) {
        if (aligned) return pair.impedance(load, frequency_hz);
        const double ratio = std::abs(pair.gain(*unloaded, frequency_hz) / pair.gain(*loaded, frequency_hz));
        return std::complex<double>(load.resistance_ohm * (ratio - 1.0), 0.0);
    };
    for (const double frequency_hz : analysis::log_frequencies(from_hz, to_hz, points_per_octave)) {
        const std::complex<double> ohm = value_at(frequency_hz);
        curve.columns[0].values.push_back(frequency_hz);
        curve.columns[1].values.push_back(std::abs(ohm));
        curve.columns[2].values.push_back(std::arg(ohm) * analysis::degrees);
        curve.columns[3].values.push_back(load.resistance_ohm * pair.noise(frequency_hz));
    }
    if (!aligned) curve.columns.erase(curve.columns.begin() + 2);

    const std::complex<double> ohm = value_at(at_hz);
    Quantity impedance{std::abs(ohm), "ohm", {}};
    add_doubt(impedance, source + "noise", load.resistance_ohm * pair.noise(at_hz));
    // What the gain did between the two takes is not known; what it did within each is.
    const double drift = std::hypot(loaded->level_change.front(), unloaded->level_change.front());
    add_doubt(impedance, source + "gain-drift", load.resistance_ohm * drift);
    for (const capture::RelativeDoubt& doubt : load.resistance_doubts)
        impedance.contributions[doubt.source_id] += impedance.value * doubt.relative;
    // One probe for both tests: its scale goes out of the ratio. Two probes: their scales stay in it.
    const auto add_scales = [&](const capture::Load& of, double plus_share, double sign) {
        const Quantity scale = load_voltage(*setup.bench, of, 1.0, plus_share);
        for (const auto& [id, relative] : scale.contributions)
            impedance.contributions[id] += sign * relative * (load.resistance_ohm + ohm.real());
    };
    add_scales(open, unloaded->loads.front().plus_share, 1.0);
    add_scales(load, loaded->loads.front().plus_share, -1.0);
    std::erase_if(impedance.contributions, [](const auto& entry) { return std::abs(entry.second) < 1e-15; });

    const analysis::Absent lost{"below-noise",
                                fmt::format("below {} ohm, three times what noise and drift alone would show",
                                            plain_number(stands_out * impedance.standard_uncertainty(), 2)),
                                open.plus == load.plus
                                    ? "use a smaller load, a higher level, and let the unit warm up"
                                    : "use one probe for both tests: the scales of two do not cancel"};
    if (!aligned && ohm.real() < 0.0 &&
        std::abs(ohm.real()) > stands_out * impedance.standard_uncertainty()) {
        result.whole.add_absent("output_impedance_1khz_ohm",
                                {"gain-changed", "the output is higher with the load than without",
                                 "leave every knob alone between the two tests"});
        result.whole.absent.emplace_back("damping_factor_1khz", result.whole.absent.back().second);
    } else if (impedance.value < stands_out * impedance.standard_uncertainty()) {
        result.whole.add_absent("output_impedance_1khz_ohm", lost);
        result.whole.absent.emplace_back("damping_factor_1khz", lost);
    } else {
        result.whole.add("output_impedance_1khz_ohm", impedance);
        // The load's own doubt is in both and goes out of the ratio.
        Quantity damping =
            analysis::combine(load.resistance_ohm / impedance.value, "",
                              {{&impedance, -load.resistance_ohm / (impedance.value * impedance.value)}});
        for (const capture::RelativeDoubt& doubt : load.resistance_doubts)
            damping.contributions[doubt.source_id] += damping.value * doubt.relative;
        std::erase_if(damping.contributions,
                      [&](const auto& entry) { return std::abs(entry.second) < 1e-12 * damping.value; });
        result.whole.add("damping_factor_1khz", damping);
    }
    if (!aligned) {
        result.whole.warn("in-phase-part-only",
                          "without a reference only the fall of the magnitude is known, so an inductive part "
                          "of the impedance is not seen",
                          "give both response tests the same reference");
    }
    result.whole.curves.emplace_back("output_impedance", curve);
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "output-impedance";
    measure.summary = "source impedance and damping factor, from two responses, with the load and without";
    measure.plays = false;
    measure.fields = {
        {.name = "loaded",
         .type = FieldType::text,
         .required = true,
         .help = "id of the response test with the load"},
        {.name = "unloaded",
         .type = FieldType::text,
         .required = true,
         .help = "id of the response test without it (a load of resistance_ohm = inf)"},
    };
    measure.quantities = {
        {"output_impedance_1khz_ohm", "ohm", false, "impedance within the output, at 1 kHz"},
        {"damping_factor_1khz", "", false, "the load's resistance over that impedance"},
    };
    measure.check = check;
    measure.next = [](const Setup&, std::span<const Take>) { return std::optional<capture::Tone>{}; };
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::output_impedance
