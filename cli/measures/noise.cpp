#include "cli/measures/noise.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/amplifier/noise.h"
#include "cli/measures/fields.h"
#include "cli/measures/noise_numbers.h"
#include "cli/measures/recording/held_level.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::noise {

namespace {

using analysis::NoiseReading;
using capture::FaultKind;
using capture::Result;

constexpr double tone_s = 12.0;     // of silence
constexpr double shortest_s = 9.8;  // ten seconds, as a hand on two buttons counts them
constexpr double longest_s = 60.0;
constexpr double edge_s = 0.5;          // clicks of buttons at both ends, where there is room
constexpr double still_allowed = 0.05;  // of the time, zeros or another value that stands

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    for (const char* field : {"drive_dbfs", "drive_volts", "power_w"}) {
        if (setup.test->fields.contains(field))
            return refuse(fmt::format("{}: noise is measured with no tone", field), "take it out");
    }
    if (setup.test->number("reference_power_w")) {
        for (const std::size_t index : setup.test->loads) {
            if (std::isfinite(setup.bench->loads[index].resistance_ohm)) continue;
            return refuse(
                fmt::format("reference_power_w: load \"{}\" has no resistance, so there is no power",
                            setup.bench->loads[index].name),
                "take it out, or name a load with a resistance");
        }
    }
    if (setup.test->number("reference_v") && setup.test->number("reference_power_w"))
        return refuse("reference_v: stands beside reference_power_w", "take one of them out");
    const auto id = setup.test->text("floor");
    if (!id || !setup.named) return {};
    const auto floor = setup.named(*id);
    if (!floor || floor->test->measure != "noise" || *id == setup.test->id) {
        return refuse(fmt::format("floor: the job has no other noise test \"{}\"", *id),
                      "name the noise test that was made with the probe shorted");
    }
    for (const std::size_t index : setup.test->loads) {
        const auto& loads = floor->test->loads;
        if (std::find(loads.begin(), loads.end(), index) != loads.end()) continue;
        return refuse(
            fmt::format("floor: test \"{}\" does not measure {}", *id, setup.bench->loads[index].in_words()),
            "name the same in both tests");
    }
    return {};
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (!takes.empty()) return std::nullopt;
    capture::Tone silence;
    silence.rate_hz = setup.tone_rate_hz;
    silence.frames = static_cast<std::int64_t>(tone_s * setup.tone_rate_hz);
    return silence;
}

Result<void> check_input(const Take& take, const PlacedTake& read, const capture::Input& input) {
    const auto refuse = [&](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::untrusted_capture, file_of(take) + ": " + text, mend);
    };
    for (const capture::RawChannel& raw : read.raw.channels) {
        if (raw.channel != input.channel) continue;
        if (raw.silent)
            return refuse(fmt::format("no signal: \"{}\" holds nothing but zeros", input.name),
                          "check the input's lead and the permission to record");
        if (!raw.full_scale_positive.empty() || !raw.full_scale_negative.empty()) {
            const auto& spans =
                raw.full_scale_positive.empty() ? raw.full_scale_negative : raw.full_scale_positive;
            return refuse(fmt::format("input overload: \"{}\" is at full scale at {}", input.name,
                                      seconds_text(spans.front().from_s)),
                          "record noise with nothing playing and nobody touching a lead");
        }
        double zeros_s = raw.leading_zeros_s + raw.trailing_zeros_s;
        for (const capture::Interval& zeros : raw.zeros_inside) zeros_s += zeros.to_s - zeros.from_s;
        double held_s = 0.0;
        for (const capture::HeldValue& held : raw.held) held_s += held.to_s - held.from_s;
        if (held_s > still_allowed * take.recording.duration_s()) {
            return refuse(fmt::format("\"{}\" stands still at one value for {:.1f} s: a dropout, or noise "
                                      "below the recorder's last bit",
                                      input.name, held_s),
                          "record 24 bits, or take less attenuation");
        }
        if (zeros_s > still_allowed * take.recording.duration_s()) {
            return refuse(fmt::format("\"{}\" holds exact zeros for {:.1f} s: a gate, a dropout, or noise "
                                      "below the recorder's last bit",
                                      input.name, zeros_s),
                          "record 24 bits, switch noise suppression off, or take less attenuation");
        }
    }
    return {};
}

Result<std::vector<NoiseReading>> read_loads(const Setup& setup, const Take& take) {
    if (take.recording.duration_s() < shortest_s) {
        return capture::fail(FaultKind::untrusted_capture,
                             fmt::format("{}: cut short: {:.1f} s are too few for noise", file_of(take),
                                         take.recording.duration_s()),
                             "record at least 10 s with the unit's input terminated");
    }
    const double whole_s = take.recording.duration_s();
    const double from_s = whole_s >= shortest_s + 2.0 * edge_s ? edge_s : 0.0;
    const double to_s = std::min(whole_s - from_s, from_s + longest_s);
    const auto read = read_take(setup, take, from_s, to_s);
    if (!read) return tl::unexpected<capture::Fault>(read.error());
    for (const std::size_t index : inputs_of(setup)) {
        if (auto fine = check_input(take, *read, setup.bench->inputs[index]); !fine)
            return tl::unexpected<capture::Fault>(fine.error());
    }
    std::vector<NoiseReading> readings;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        const capture::Input& input = setup.bench->inputs[load.plus];
        std::vector<double> volts = load_volts(setup, *read, load, from_s, to_s);
        // The coupling is undone in the spectrum; the scale was found where it told already.
        const double found_at = scale_correction(input, std::numeric_limits<double>::infinity());
        for (double& volt : volts) volt *= found_at;
        readings.push_back(
            analysis::read_noise(volts, take.recording.rate_hz, input.high_pass_hz.value_or(0.0)));
        if (const std::string moved = noise_moved(readings.back()); !moved.empty()) {
            return capture::fail(FaultKind::untrusted_capture,
                                 fmt::format("{}: {}: {}", file_of(take), load.in_words(), moved),
                                 "leave everything alone while it records, then record again");
        }
    }
    return readings;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "noise";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const auto own = read_loads(setup, takes.front());
    if (!own) {
        result.fault = own.error();
        return result;
    }
    std::vector<NoiseReading> floors;
    std::vector<std::size_t> floor_loads;
    const auto floor_id = setup.test->text("floor");
    if (floor_id) {
        const auto named = setup.named ? setup.named(*floor_id) : std::nullopt;
        if (!named || named->takes.empty()) {
            result.fault = capture::Fault{FaultKind::untrusted_capture,
                                          fmt::format("floor: test \"{}\" has no recording", *floor_id),
                                          std::nullopt, "put that test before this one, and record it"};
            return result;
        }
        Setup other = setup;
        other.test = named->test;
        auto read = read_loads(other, named->takes.front());
        if (!read) {
            result.fault = read.error();
            return result;
        }
        floors = std::move(*read);
        floor_loads = named->test->loads;
    }
    const Take& take = takes.front();
    result.conditions.emplace_back("seconds", take.recording.duration_s());
    result.conditions.emplace_back("band", std::string("20 Hz to 20 kHz"));
    result.conditions.emplace_back("detector",
                                   std::string("RMS; quasi-peak after ITU-R BS.468-4 where named"));
    if (const auto power_w = setup.test->number("reference_power_w"))
        result.conditions.emplace_back("reference_power_w", *power_w);
    if (const auto reference_v = setup.test->number("reference_v"))
        result.conditions.emplace_back("reference_v", *reference_v);
    if (floor_id) result.conditions.emplace_back("floor", *floor_id);
    add_recording_conditions(setup, take, result);
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        NoiseContext context{&setup,
                             &load,
                             &(*own)[l],
                             nullptr,
                             "test:" + setup.test->id + ":" + load.name + ":",
                             "test:" + floor_id.value_or("") + ":" + load.name + ":"};
        for (std::size_t f = 0; f < floor_loads.size(); ++f) {
            if (floor_loads[f] == setup.test->loads[l]) context.floor = &floors[f];
        }
        result.loads.emplace_back(load.name, noise_numbers(context));
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "noise";
    measure.summary = "noise and hum with the input terminated";
    measure.fields = {
        {.name = "reference_power_w",
         .type = FieldType::number,
         .unit = "W",
         .minimum = 1e-3,
         .maximum = 1e5,
         .help = "power that the noise is also compared with, e.g. the rated one"},
        {.name = "reference_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 1e-6,
         .maximum = 1e4,
         .help = "volts RMS that the noise is also compared with, e.g. the rated output of a line unit"},
        {.name = "floor",
         .type = FieldType::text,
         .help = "id of a noise test with the probe shorted: the bench's own noise, taken off in power"},
    };
    measure.quantities = {
        {"noise_v", "V", true, "volts RMS across the load, 20 Hz to 20 kHz, with nothing going in"},
        {"noise_a_weighted_v", "V", true, "the same, weighted as the ear hears faint sounds (A)"},
        {"noise_itu_468_rms_v", "V", true,
         "the same through the network of ITU-R 468, RMS: not the quasi-peak reading of that rule"},
        {"noise_itu_468_quasi_peak_v", "V", true,
         "the same by that rule's quasi-peak detector, typically over the recording"},
        {"signal_to_noise_1w_db", "dB", true, "one watt over the noise"},
        {"signal_to_noise_1w_a_weighted_db", "dB", true, "one watt over the A-weighted noise"},
        {"signal_to_noise_reference_db", "dB", true, "the reference power or volts over the noise"},
        {"signal_to_noise_reference_a_weighted_db", "dB", true,
         "the reference power or volts over the A-weighted noise"},
        {"hum_v", "V", true, "volts RMS of the lines at multiples of the mains frequency"},
        {"mains_hz", "Hz", true, "mains frequency that the hum shows"},
        {"whine_v", "V", true, "volts RMS of a line whose frequency moves, where there is one"},
        {"whine_lowest_hz", "Hz", true, "lowest frequency of that line"},
        {"whine_highest_hz", "Hz", true, "its highest"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::noise
