#include "cli/measures/noise.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/noise.h"
#include "analysis/signal/median.h"
#include "cli/measures/fields.h"
#include "cli/measures/placed_take.h"
#include "cli/measures/placing.h"
#include "cli/measures/scale.h"
#include "cli/measures/staircase_reading.h"
#include "cli/measures/trusted_steps.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using analysis::NoiseReading;
using analysis::NoiseValue;
using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double tone_s = 12.0;     // of silence
constexpr double shortest_s = 9.8;  // ten seconds, as a hand on two buttons counts them
constexpr double longest_s = 60.0;
constexpr double edge_s = 0.5;  // clicks of buttons at both ends, where there is room
constexpr double zeros_allowed = 0.05;
constexpr double unsteady = 2.0;                     // power of one stretch over the typical
constexpr double floor_margin = 1.9952623149688795;  // 3 dB in power
constexpr double db_per_relative = 20.0 / std::numbers::ln10;
constexpr double noise_centre_hz = 10000.0;  // of even noise to 20 kHz, half lies to either side

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
        if (zeros_s > zeros_allowed * take.recording.duration_s()) {
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
    const auto read = read_take(setup, take);
    if (!read) return tl::unexpected<capture::Fault>(read.error());
    for (const std::size_t index : inputs_of(setup)) {
        if (auto fine = check_input(take, *read, setup.bench->inputs[index]); !fine)
            return tl::unexpected<capture::Fault>(fine.error());
    }
    const double whole_s = take.recording.duration_s();
    const double from_s = whole_s >= shortest_s + 2.0 * edge_s ? edge_s : 0.0;
    const double to_s = std::min(whole_s - from_s, from_s + longest_s);
    std::vector<NoiseReading> readings;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        readings.push_back(analysis::read_noise(load_volts(setup, *read, load, from_s, to_s),
                                                take.recording.rate_hz,
                                                setup.bench->inputs[load.plus].high_pass_hz.value_or(0.0)));
    }
    return readings;
}

struct LoadContext {
    const Setup* setup = nullptr;
    const capture::Load* load = nullptr;
    const NoiseReading* own = nullptr;
    const NoiseReading* floor = nullptr;  // none: not measured
    std::string source{};
    std::string floor_source{};
};

/// The unit's own part of a reading: the floor taken off in power; absent within 3 dB of it.
std::variant<Quantity, Absent> unit_noise(const LoadContext& context, NoiseValue NoiseReading::*which) {
    const NoiseValue& whole = context.own->*which;
    const NoiseValue floor = context.floor != nullptr ? context.floor->*which : NoiseValue{};
    const double whole_square = whole.volts * whole.volts;
    const double floor_square = floor.volts * floor.volts;
    if (whole_square < floor_margin * floor_square) {
        return Absent{
            "below-floor",
            fmt::format("{:.3g} V, within 3 dB of the bench's own {:.3g} V", whole.volts, floor.volts),
            "take less attenuation or a quieter recorder"};
    }
    const double volts = std::sqrt(whole_square - floor_square);
    // Both inputs of a bridged load see noise of their own: the halves count alike.
    Quantity quantity =
        load_voltage(*context.setup, *context.load, volts, context.load->minus ? 0.5 : 1.0, noise_centre_hz);
    add_doubt(quantity, context.source + "repeatability", whole.doubt_v * whole.volts / volts);
    if (floor_square > 0.0)
        add_doubt(quantity, context.floor_source + "repeatability", floor.doubt_v * floor.volts / volts);
    return quantity;
}

/// Ratio of some volts to the noise; the volts are exact or carry doubts of their own.
void add_volt_ratio(const std::string& name, double reference_v,
                    const std::vector<capture::RelativeDoubt>& doubts, double share,
                    const std::variant<Quantity, Absent>& noise, Findings& findings) {
    if (const auto* absent = std::get_if<Absent>(&noise)) {
        findings.absent.emplace_back(name, *absent);
        return;
    }
    const Quantity& volts = std::get<Quantity>(noise);
    Quantity ratio = analysis::combine(20.0 * std::log10(reference_v / volts.value), "dB",
                                       {{&volts, -db_per_relative / volts.value}});
    for (const capture::RelativeDoubt& doubt : doubts)
        ratio.contributions[doubt.source_id] += share * db_per_relative * doubt.relative;
    findings.add(name, ratio);
}

void add_ratio(const LoadContext& context, const std::string& name, double power_w,
               const std::variant<Quantity, Absent>& noise, Findings& findings) {
    const double ohm = context.load->resistance_ohm;
    if (!std::isfinite(ohm) && std::holds_alternative<Quantity>(noise)) {
        findings.absent.emplace_back(name, Absent{"no-load", "the load has no resistance",
                                                  "name a load with a resistance if the ratio is wanted"});
        return;
    }
    add_volt_ratio(name, std::sqrt(power_w * ohm), context.load->resistance_doubts, 0.5, noise, findings);
}

void add_hum(const LoadContext& context, Findings& findings) {
    if (!context.own->mains_hz) {
        findings.add_absent("hum_v",
                            {"below-noise",
                             fmt::format("no line stands out of the noise at multiples of 50 or 60 Hz; "
                                         "below {:.2g} V",
                                         context.own->hum_detectable_v),
                             "no mend is needed"});
        findings.absent.emplace_back("mains_hz", Absent{"no-hum", "no hum is heard", ""});
        return;
    }
    const auto hum = unit_noise(context, &NoiseReading::hum);
    if (const auto* absent = std::get_if<Absent>(&hum)) {
        findings.add_absent("hum_v", *absent);
    } else {
        findings.add("hum_v", std::get<Quantity>(hum));
    }
    Quantity mains{*context.own->mains_hz, "Hz", {}};
    constexpr double bin_share_hz = 0.03;  // of the half-hertz bins, for a line that stands well out
    add_doubt(mains, context.source + "noise", bin_share_hz);
    findings.add("mains_hz", mains);
    std::string lines;
    for (const analysis::NoiseLine& line : context.own->hum_lines)
        lines +=
            fmt::format("{}{:.1f} Hz {:.3g} V", lines.empty() ? "" : ", ", line.frequency_hz, line.volts);
    const double share = std::pow(context.own->hum.volts / context.own->band.volts, 2.0);
    constexpr double mostly = 0.5;
    if (share > mostly) {
        findings.warn("hum", fmt::format("hum is {:.0f} % of the noise's power: {}", 100.0 * share, lines),
                      "find the ground loop: one ground point, shorter leads, the player on its battery");
    }
}

void add_remarks(const LoadContext& context, Findings& findings) {
    const double typical_v = analysis::median(context.own->stretch_v);
    for (std::size_t k = 0; k < context.own->stretch_v.size(); ++k) {
        const double volts = context.own->stretch_v[k];
        if (volts * volts < unsteady * typical_v * typical_v) continue;
        findings.warn("unsteady",
                      fmt::format("{:.3g} V about {:.0f} s after the start, {:.3g} V typically", volts,
                                  static_cast<double>(k + 1) * context.own->stretch_s, typical_v),
                      "keep leads and knobs untouched; crackling is a fault of its own");
        break;
    }
    constexpr double loud_share = 0.1;
    if (const auto& whistle = context.own->whistle;
        whistle && std::pow(whistle->volts / context.own->band.volts, 2.0) > loud_share) {
        findings.warn(
            "whistle",
            fmt::format("a tone of {:.3g} V at {:.1f} Hz stands out", whistle->volts, whistle->frequency_hz),
            "look for a converter, a charger, an alternator or another source playing");
    }
    if (context.floor == nullptr) {
        findings.warn("floor-unknown", "the recorder's own noise is in these numbers",
                      "make a noise test with the probe shorted and name it as floor");
    }
}

Findings findings_of(const LoadContext& context) {
    Findings findings;
    const auto add = [&](const char* name, NoiseValue NoiseReading::*which) {
        auto noise = unit_noise(context, which);
        if (const auto* absent = std::get_if<Absent>(&noise)) {
            findings.add_absent(name, *absent);
        } else {
            findings.add(name, std::get<Quantity>(noise));
        }
        return noise;
    };
    const auto plain = add("noise_v", &NoiseReading::band);
    const auto weighted = add("noise_a_weighted_v", &NoiseReading::a_weighted);
    add("noise_itu_468_rms_v", &NoiseReading::itu_468);
    if (!context.load->bare_input) {
        add_ratio(context, "signal_to_noise_1w_db", 1.0, plain, findings);
        add_ratio(context, "signal_to_noise_1w_a_weighted_db", 1.0, weighted, findings);
    }
    if (const auto reference_v = context.setup->test->number("reference_v")) {
        add_volt_ratio("signal_to_noise_reference_db", *reference_v, {}, 0.0, plain, findings);
        add_volt_ratio("signal_to_noise_reference_a_weighted_db", *reference_v, {}, 0.0, weighted, findings);
    }
    if (const auto power_w = context.setup->test->number("reference_power_w")) {
        add_ratio(context, "signal_to_noise_reference_db", *power_w, plain, findings);
        add_ratio(context, "signal_to_noise_reference_a_weighted_db", *power_w, weighted, findings);
    }
    add_hum(context, findings);
    add_remarks(context, findings);
    return findings;
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
    result.conditions.emplace_back("detector", std::string("RMS"));
    if (const auto power_w = setup.test->number("reference_power_w"))
        result.conditions.emplace_back("reference_power_w", *power_w);
    if (const auto reference_v = setup.test->number("reference_v"))
        result.conditions.emplace_back("reference_v", *reference_v);
    if (floor_id) result.conditions.emplace_back("floor", *floor_id);
    add_recording_conditions(setup, take, result);
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        LoadContext context{&setup,
                            &load,
                            &(*own)[l],
                            nullptr,
                            "test:" + setup.test->id + ":" + load.name + ":",
                            "test:" + floor_id.value_or("") + ":" + load.name + ":"};
        for (std::size_t f = 0; f < floor_loads.size(); ++f) {
            if (floor_loads[f] == setup.test->loads[l]) context.floor = &floors[f];
        }
        result.loads.emplace_back(load.name, findings_of(context));
    }
    return result;
}

}  // namespace

Measure noise_measure() {
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
        {"signal_to_noise_1w_db", "dB", true, "one watt over the noise"},
        {"signal_to_noise_1w_a_weighted_db", "dB", true, "one watt over the A-weighted noise"},
        {"signal_to_noise_reference_db", "dB", true, "the reference power or volts over the noise"},
        {"signal_to_noise_reference_a_weighted_db", "dB", true,
         "the reference power or volts over the A-weighted noise"},
        {"hum_v", "V", true, "volts RMS of the lines at multiples of the mains frequency"},
        {"mains_hz", "Hz", true, "mains frequency that the hum shows"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli
