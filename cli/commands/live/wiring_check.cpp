#include "cli/commands/live/wiring_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/units.h"
#include "capture/device/live.h"
#include "capture/tone/staircase.h"
#include "cli/commands/live/rate_check.h"
#include "cli/measures/fields.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double frequency_hz = 997.0;
constexpr double step_s = 0.4;
constexpr double same_volts_db = 3.0;    // two halves of a bridge, two ends of one node
constexpr double opposite_rad = 2.0;     // further apart than this is opposite
constexpr double least_gain_db = -12.0;  // of any amplifier or line unit, as a whole
constexpr double highest_gain_db = 70.0;
constexpr double highest_power_w = 50000.0;  // at full scale, of anything on a hobbyist's bench

struct Judge {
    const Setup& setup;
    double level_dbfs;

    const capture::Bench& bench() const { return *setup.bench; }
    std::string input(std::size_t index) const { return "\"" + bench().inputs[index].name + "\""; }
    std::string output(std::size_t index) const { return "\"" + bench().outputs[index].name + "\""; }

    static tl::unexpected<capture::Fault> wrong(const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::untrusted_capture, "wiring check: " + text, mend);
    }

    /// As loud as what is meant to be there.
    static bool heard_at(const HeardOutput& take, std::size_t index) {
        double loudest = 0.0;
        for (const HeardInput& one : take.inputs)
            loudest = std::max(loudest, one.present ? one.volts_rms : 0.0);
        const HeardInput& here = take.inputs[index];
        return here.present && analysis::floored_decibels(here.volts_rms / loudest) > crosstalk_db;
    }

    static std::string of_load(const capture::Load& load) {
        return load.bare_input ? std::string{} : " of " + load.in_words();
    }

    Result<void> not_heard(const HeardOutput& take, const capture::Load& load, std::size_t expected) const {
        for (std::size_t other = 0; other < take.inputs.size(); ++other) {
            if (other == expected || bench().inputs[other].role != capture::InputRole::voltage ||
                !heard_at(take, other))
                continue;
            const bool own = load.minus && (other == load.plus || other == *load.minus);
            if (own) continue;
            return wrong(
                fmt::format("output {} is heard at {}, not at {}{}: channels are swapped",
                            output(take.output), input(other), input(expected), of_load(load)),
                "swap the two leads, at the card or at the unit, or correct the channel numbers of the bench "
                "file");
        }
        return wrong(fmt::format("output {} is not heard at {}{}", output(take.output), input(expected),
                                 of_load(load)),
                     "look at that channel's leads, probe, fuse and switch, and at the unit's gain");
    }

    Result<void> judge_hum(const HeardOutput& take, std::size_t index) const {
        const HeardInput& here = take.inputs[index];
        if (here.hum_v < here.volts_rms) return {};
        return wrong(
            fmt::format("input {} carries {:.3g} V of {} without any tone, more than the tone's {:.3g} V",
                        input(index), here.hum_v, here.mains ? "mains hum" : "noise", here.volts_rms),
            here.mains ? "the ground is missing or open: connect the recorder's ground first"
                       : "look for an open probe or a unit that oscillates");
    }

    Result<void> judge_load(const HeardOutput& take, const capture::Load& load) const {
        if (load.minus) return judge_bridge(take, load);
        if (!heard_at(take, load.plus)) return not_heard(take, load, load.plus);
        return judge_hum(take, load.plus);
    }

    Result<void> judge_bridge(const HeardOutput& take, const capture::Load& load) const {
        const bool plus = heard_at(take, load.plus);
        const bool minus = heard_at(take, *load.minus);
        if (!plus && !minus) return not_heard(take, load, load.plus);
        if (load.driven_by.size() > 1) return judge_hum(take, plus ? load.plus : *load.minus);
        if (!plus || !minus) {
            return wrong(fmt::format("only one end of the bridged load \"{}\" moves ({})", load.name,
                                     input(plus ? load.plus : *load.minus)),
                         "the unit is not bridged, or the other probe is on ground: see --show-wiring");
        }
        const HeardInput& a = take.inputs[load.plus];
        const HeardInput& b = take.inputs[*load.minus];
        const double apart = std::abs(std::remainder(a.phase_rad - b.phase_rad, analysis::two_pi));
        if (apart < opposite_rad &&
            std::abs(analysis::floored_decibels(a.volts_rms / b.volts_rms)) < same_volts_db) {
            return wrong(fmt::format("both ends of the bridged load \"{}\" move together", load.name),
                         "set the unit's bridge switch, or both probes sit on the same end");
        }
        return judge_hum(take, load.plus);
    }

    Result<void> judge_scale(const HeardOutput& take, const capture::Load& load, double volts) const {
        const capture::Output& from = bench().outputs[take.output];
        if (from.volts_at_full_scale) {
            const double sent =
                *from.volts_at_full_scale / std::numbers::sqrt2 * analysis::ratio_from_decibels(level_dbfs);
            const double gain = analysis::floored_decibels(volts / sent);
            if (gain < least_gain_db || gain > highest_gain_db) {
                return wrong(
                    fmt::format("{} gets {:.3g} V from {:.3g} V at the card's output: a gain of {:.0f} dB is "
                                "not plausible",
                                load.in_words(), volts, sent, gain),
                    "check volts_at_full_scale and attenuation of output and input, and the unit's gain "
                    "control");
            }
        }
        const double at_full_scale_w =
            std::isinf(load.resistance_ohm)
                ? 0.0
                : volts * volts / load.resistance_ohm * analysis::power_ratio_from_decibels(-level_dbfs);
        if (at_full_scale_w > highest_power_w) {
            return wrong(
                fmt::format("load \"{}\" would take {:.0f} W at full scale", load.name, at_full_scale_w),
                "check volts_at_full_scale and attenuation of its input");
        }
        return {};
    }
};

}  // namespace

Result<std::vector<std::string>> judge_wiring(const Setup& setup, const std::vector<HeardOutput>& heard,
                                              double level_dbfs) {
    const Judge judge{setup, level_dbfs};
    std::vector<std::string> lines;
    for (const HeardOutput& take : heard) {
        for (const std::size_t index : setup.test->loads) {
            const capture::Load& load = setup.bench->loads[index];
            if (std::find(load.driven_by.begin(), load.driven_by.end(), take.output) == load.driven_by.end())
                continue;
            if (auto good = judge.judge_load(take, load); !good)
                return tl::unexpected<capture::Fault>(good.error());
            const HeardInput& plus = take.inputs[load.plus];
            const double volts = plus.volts_rms + (load.minus ? take.inputs[*load.minus].volts_rms : 0.0);
            if (auto good = judge.judge_scale(take, load, volts); !good)
                return tl::unexpected<capture::Fault>(good.error());
            const bool backwards = !load.minus && std::abs(plus.phase_rad) > opposite_rad;
            lines.push_back(
                fmt::format("  output {} -> {}: {:.4g} V at {:.0f} dBFS{}", judge.output(take.output),
                            load.in_words(), volts, level_dbfs,
                            backwards ? ", in opposite phase to the other: look at its polarity" : ""));
        }
    }
    return lines;
}

Result<WiringTakes> check_wiring(const Setup& setup, capture::Device& device,
                                 const std::filesystem::path& into, bool rate_too,
                                 const std::atomic<bool>& stop) {
    WiringTakes result;
    const auto upper_hz = rate_too ? rate_tone_hz(setup.tone_rate_hz) : std::nullopt;
    std::vector<HeardBand> band;  // of the first output: they share the card
    std::vector<HeardOutput> heard;
    const double level = std::min(wiring_level_dbfs, limit_dbfs(setup));
    for (const std::size_t output : outputs_of(setup)) {
        Take take;
        take.tone = capture::make_staircase({.rate_hz = setup.tone_rate_hz,
                                             .frequency_hz = frequency_hz,
                                             .levels_dbfs = {level},
                                             .step_s = step_s,
                                             .code = "wiring/" + setup.bench->outputs[output].name});
        const bool with_upper = upper_hz && heard.empty();
        if (with_upper) add_rate_tone(take.tone, *upper_hz, level);
        capture::PlayRequest request;
        request.capture_name =
            "wiring." + setup.test->id + "." + std::to_string(setup.bench->outputs[output].channel);
        request.tone = &take.tone;
        request.outputs = {output};
        request.into = into;
        request.loads = setup.test->loads;
        auto recording = device.play_and_record(request, stop);
        if (!recording) return tl::unexpected<capture::Fault>(recording.error());
        take.recording = std::move(*recording);
        auto inputs = listen(*setup.bench, take.recording, frequency_hz);
        if (!inputs) return tl::unexpected<capture::Fault>(inputs.error());
        if (with_upper) {
            auto both = listen_band(*setup.bench, take.recording, take.tone, frequency_hz);
            if (!both) return tl::unexpected<capture::Fault>(both.error());
            band = std::move(*both);
        }
        heard.push_back({output, std::move(*inputs)});
        result.takes.push_back(std::move(take));
    }
    auto lines = judge_wiring(setup, heard, level);
    if (!lines) return tl::unexpected<capture::Fault>(lines.error());
    result.lines = std::move(*lines);
    const auto compared = compare_scales(setup, heard, level, frequency_hz);
    for (std::string& line : scale_lines(setup, compared)) result.lines.push_back(std::move(line));
    auto remarks = judge_scales(setup, compared);
    if (!remarks) return tl::unexpected<capture::Fault>(remarks.error());
    result.remarks = std::move(*remarks);
    if (band.empty()) return result;
    auto rate = judge_rate(setup, heard.front(), band);
    if (!rate) return tl::unexpected<capture::Fault>(rate.error());
    if (*rate) result.remarks.push_back(std::move(**rate));
    return result;
}

}  // namespace assay::cli
