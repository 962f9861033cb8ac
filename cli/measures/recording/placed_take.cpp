#include "cli/measures/recording/placed_take.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/signal/signal.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/recording/tone_plan.h"
#include "cli/measures/recording/trouble_words.h"
#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double around_tone_s = 10.0;  // read before and after it

std::span<const float> stretch(const PlacedTake& placed, int channel, double from_s, double to_s) {
    const auto found = std::find(placed.channels.begin(), placed.channels.end(), channel);
    const std::vector<float>& samples =
        placed.samples[static_cast<std::size_t>(found - placed.channels.begin())];
    const auto size = static_cast<double>(samples.size());
    const auto before = static_cast<double>(placed.first_frame);
    const double first = std::clamp(std::ceil(from_s * placed.rate_hz) - before, 0.0, size);
    const double end = std::clamp(std::ceil(to_s * placed.rate_hz) - before, first, size);
    return std::span(samples).subspan(static_cast<std::size_t>(first), static_cast<std::size_t>(end - first));
}

}  // namespace

std::vector<std::size_t> inputs_of(const Setup& setup) {
    std::set<std::size_t> inputs;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        inputs.insert(load.plus);
        if (load.minus) inputs.insert(*load.minus);
    }
    if (setup.test->reference) inputs.insert(*setup.test->reference);
    return {inputs.begin(), inputs.end()};
}

std::vector<int> channels_of(const Setup& setup) {
    std::set<int> channels;
    for (const std::size_t input : inputs_of(setup)) channels.insert(setup.bench->inputs[input].channel);
    return {channels.begin(), channels.end()};
}

namespace {

/// Channels and raw checks; no samples yet.
Result<PlacedTake> look_at(const Setup& setup, const Take& take) {
    PlacedTake placed;
    placed.channels = channels_of(setup);
    placed.rate_hz = take.recording.rate_hz;
    if (const auto enough = check_channels(take, placed.channels); !enough)
        return tl::unexpected<capture::Fault>(enough.error());
    auto raw = capture::check_raw(take.recording, placed.channels);
    if (!raw) return tl::unexpected<capture::Fault>(raw.error());
    placed.raw = std::move(*raw);
    return placed;
}

Result<void> read_samples(const Take& take, double from_s, double to_s, PlacedTake& placed) {
    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    const auto frames = static_cast<double>(take.recording.frames);
    const double first = std::clamp(std::floor(from_s * placed.rate_hz), 0.0, frames);
    const double end = std::clamp(std::ceil(to_s * placed.rate_hz), first, frames);
    placed.first_frame = static_cast<std::int64_t>(first);
    return reader->read_into(placed.channels, placed.first_frame, static_cast<std::int64_t>(end - first),
                             placed.samples);
}

}  // namespace

Result<PlacedTake> read_take(const Setup& setup, const Take& take, double from_s, double to_s) {
    auto placed = look_at(setup, take);
    if (!placed) return placed;
    if (auto read = read_samples(take, from_s, to_s, *placed); !read)
        return tl::unexpected<capture::Fault>(read.error());
    return placed;
}

Result<PlacedTake> place_take(const Setup& setup, const Take& take) {
    auto looked_at = look_at(setup, take);
    if (!looked_at) return looked_at;
    PlacedTake placed = std::move(*looked_at);
    const analysis::TonePlan plan = plan_of(take.tone);
    auto placement = place_tone(take, placed.channels, plan);
    if (!placement) return tl::unexpected<capture::Fault>(placement.error());
    placed.placement = std::move(*placement);
    for (const capture::Segment& segment : take.tone.segments) {
        if (segment.role == capture::SegmentRole::step) placed.steps.push_back(segment);
    }
    const std::size_t last = placed.steps.size() - 1;
    const double last_s = static_cast<double>(placed.steps[last].frames) / take.tone.rate_hz;
    const double end_s = placed.at_s(last, last_s);
    if (const auto whole = check_length(take, end_s); !whole)
        return tl::unexpected<capture::Fault>(whole.error());
    // Some quiet before and after, which tells the noise.
    if (auto read =
            read_samples(take, placed.placement.start_s - around_tone_s, end_s + around_tone_s, placed);
        !read)
        return tl::unexpected<capture::Fault>(read.error());
    return placed;
}

double first_sample_s(const PlacedTake& placed, double from_s) {
    return std::max(std::ceil(from_s * placed.rate_hz), 0.0) / placed.rate_hz;
}

std::vector<double> input_volts(const PlacedTake& placed, const capture::Input& input, double from_s,
                                double to_s) {
    const analysis::Signal signal{stretch(placed, input.channel, from_s, to_s), placed.rate_hz,
                                  input.volts_per_unit()};
    return analysis::volts_between(signal, {});
}

Result<PlacedTake> place_take(const Setup& setup, std::span<const Take> takes) {
    if (takes.empty()) return tl::unexpected<capture::Fault>(nothing_recorded());
    return place_take(setup, takes.front());
}

std::vector<double> load_volts(const Setup& setup, const PlacedTake& placed, const capture::Load& load,
                               double from_s, double to_s) {
    const capture::Input& plus = setup.bench->inputs[load.plus];
    const analysis::Signal high{stretch(placed, plus.channel, from_s, to_s), placed.rate_hz,
                                plus.volts_per_unit()};
    if (!load.minus) return analysis::volts_between(high, {});
    const capture::Input& minus = setup.bench->inputs[*load.minus];
    return analysis::volts_between(
        high, {stretch(placed, minus.channel, from_s, to_s), placed.rate_hz, minus.volts_per_unit()});
}

double plus_share_of(const Setup& setup, const PlacedTake& placed, const capture::Load& load, double from_s,
                     double to_s) {
    if (!load.minus) return 1.0;
    const std::vector<double> both = load_volts(setup, placed, load, from_s, to_s);
    const std::vector<double> plus = input_volts(placed, setup.bench->inputs[load.plus], from_s, to_s);
    double cross = 0.0;
    double square = 0.0;
    for (std::size_t n = 0; n < both.size(); ++n) {
        cross += both[n] * plus[n];
        square += both[n] * both[n];
    }
    return square > 0.0 ? cross / square : 0.5;
}

std::optional<StepTrouble> trouble_at(const PlacedTake& placed, const capture::Input& input, std::size_t step,
                                      double from_s, double to_s, bool steady) {
    const auto found =
        std::find_if(placed.raw.channels.begin(), placed.raw.channels.end(),
                     [&](const capture::RawChannel& channel) { return channel.channel == input.channel; });
    if (found == placed.raw.channels.end()) return std::nullopt;
    if (const std::string words = overload_words(*found, input.name, from_s, to_s); !words.empty())
        return StepTrouble{words, true};
    for (const analysis::TimeJump& jump : placed.placement.jumps) {
        if (jump.step == step) return StepTrouble{jump_words(jump)};
    }
    if (!placed.placement.step_sound[step])
        return StepTrouble{fmt::format("the tone is gone from {} on", seconds_text(from_s))};
    float peak = 0.0F;
    for (const float sample : stretch(placed, input.channel, from_s, to_s))
        peak = std::max(peak, std::abs(sample));
    if (static_cast<double>(peak) < loud_enough) return std::nullopt;
    if (const std::string words = lost_buffer_words(*found, input.name, from_s, to_s, steady); !words.empty())
        return StepTrouble{words};
    return std::nullopt;
}

std::optional<StepTrouble> trouble_at(const Setup& setup, const PlacedTake& placed, const capture::Load& load,
                                      std::size_t step, double from_s, double to_s, bool steady) {
    auto trouble = trouble_at(placed, setup.bench->inputs[load.plus], step, from_s, to_s, steady);
    if (trouble || !load.minus) return trouble;
    return trouble_at(placed, setup.bench->inputs[*load.minus], step, from_s, to_s, steady);
}

capture::Fault fault_of(const Take& take, const capture::Load& load, const StepTrouble& trouble) {
    return {capture::FaultKind::untrusted_capture,
            fmt::format("{}: {}: {}", file_of(take), load.in_words(), trouble.words), std::nullopt,
            record_again(trouble.overload, trouble.words)};
}

void warn_of_exact_scales(const Setup& setup, Numbers& whole) {
    for (const std::size_t index : inputs_of(setup)) {
        const capture::Input& input = setup.bench->inputs[index];
        if (input.scale_doubts.empty()) warn_of_exact("input \"" + input.name + "\"", whole);
    }
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (load.resistance_doubts.empty() && std::isfinite(load.resistance_ohm))
            warn_of_exact("load \"" + load.name + "\"", whole);
    }
}

void add_recording_conditions(const Setup& setup, const Take& take, TestResult& result) {
    add_readings(*setup.test, result);
    warn_of_exact_scales(setup, result.whole);
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (std::isfinite(load.resistance_ohm))
            result.conditions.emplace_back("load_ohm." + load.name, load.resistance_ohm);
    }
    result.conditions.emplace_back("recorded_rate_hz", take.recording.rate_hz);
    result.conditions.emplace_back("recorded_format", take.recording.format);
}

void note_clock(double clock_ppm, TestResult& result) {
    result.conditions.emplace_back("clock_ppm", clock_ppm);
    // Samples that are left out or put in at a steady pace look like a clock to every mark.
    constexpr double clocks_differ_ppm = 500.0;
    if (std::abs(clock_ppm) > clocks_differ_ppm)
        result.whole.warn(
            "clock-far",
            fmt::format("the recorder counts {:.0f} ppm {} samples than were played: more than two "
                        "clocks differ, so samples may be {} one by one, which reads as distortion",
                        std::abs(clock_ppm), clock_ppm > 0.0 ? "more" : "fewer",
                        clock_ppm > 0.0 ? "put in" : "left out"),
            "name the sound card itself, or use another player or recorder, and compare");
}

void add_take_conditions(const Setup& setup, const Take& take, double start_s, double clock_ppm,
                         TestResult& result) {
    result.conditions.emplace_back("channels_driven", static_cast<double>(setup.test->loads.size()));
    add_recording_conditions(setup, take, result);
    result.conditions.emplace_back("start_s", start_s);
    note_clock(clock_ppm, result);
    result.conditions.emplace_back("tone_rate_hz", take.tone.rate_hz);
}

}  // namespace assay::cli
