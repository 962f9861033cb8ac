#include "cli/measures/steps/step_trouble.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/signal/signal.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/held_level.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/recording/trouble_words.h"

namespace assay::cli {

namespace {

// Zeros or a held value count as a lost buffer only where the tone is loud enough not to round to zero, and
// only when they outlast what a dead zone or a flat top can give.
constexpr double loud_enough_dbfs = -50.0;
constexpr double longest_honest_cycles = 1.2;
// A sine spends 2.85 % of its time within a thousandth of its peaks; a ceiling shows more. A
// wave clipped ever harder gains 2.1 dB of fundamental (closed form of the square wave), so 6 dB under one
// ceiling is not clipping.
constexpr double flat_share = 0.035;
constexpr double same_peak_db = 0.02;
constexpr double more_than_clipping_db = 6.0;

const std::vector<float>& of_channel(const std::vector<int>& channels,
                                     const std::vector<std::vector<float>>& samples, int channel) {
    const auto found = std::find(channels.begin(), channels.end(), channel);
    return samples[static_cast<std::size_t>(found - channels.begin())];
}

double peak_dbfs(const std::vector<float>& samples) {
    float peak = 0.0F;
    for (const float sample : samples) peak = std::max(peak, std::abs(sample));
    return analysis::floored_decibels(peak, 1e-10);
}

double flat_share_of(const std::vector<float>& samples) {
    float peak = 0.0F;
    for (const float sample : samples) peak = std::max(peak, std::abs(sample));
    const auto near = std::count_if(samples.begin(), samples.end(),
                                    [peak](float sample) { return std::abs(sample) >= 0.999F * peak; });
    return samples.empty() ? 0.0 : static_cast<double>(near) / static_cast<double>(samples.size());
}

/// Share of the difference that the plus input carries: sum d (a - mean a) / sum d d.
double share_of_plus(const std::vector<double>& difference, const analysis::Signal& plus) {
    double mean_a = 0.0;
    double mean_d = 0.0;
    for (std::size_t n = 0; n < difference.size(); ++n) {
        mean_a += static_cast<double>(plus.samples[n]);
        mean_d += difference[n];
    }
    mean_a /= static_cast<double>(difference.size());
    mean_d /= static_cast<double>(difference.size());
    double cross = 0.0;
    double square = 0.0;
    for (std::size_t n = 0; n < difference.size(); ++n) {
        const double d = difference[n] - mean_d;
        cross += d * (static_cast<double>(plus.samples[n]) - mean_a) * plus.volts_per_unit;
        square += d * d;
    }
    return square > 0.0 ? cross / square : 0.5;
}

}  // namespace

void read_load_step(const Setup& setup, const capture::Load& load, const std::vector<int>& channels,
                    const std::vector<std::vector<float>>& samples, const analysis::TonePlan& plan,
                    const StepWindow& window, LoadStep& step) {
    const capture::Bench& bench = *setup.bench;
    const capture::Input& plus_input = bench.inputs[load.plus];
    const std::vector<float>& plus_samples = of_channel(channels, samples, plus_input.channel);
    const analysis::Signal plus{plus_samples, window.rate_hz, plus_input.volts_per_unit()};
    analysis::Signal minus{};
    step.plus_peak_dbfs = peak_dbfs(plus_samples);
    step.plus_flat_share = flat_share_of(plus_samples);
    if (load.minus) {
        const capture::Input& minus_input = bench.inputs[*load.minus];
        const std::vector<float>& minus_samples = of_channel(channels, samples, minus_input.channel);
        minus = {minus_samples, window.rate_hz, minus_input.volts_per_unit()};
        step.minus_peak_dbfs = peak_dbfs(minus_samples);
        step.minus_flat_share = flat_share_of(minus_samples);
    }
    const std::vector<double> volts = analysis::volts_between(plus, minus);
    analysis::StepOptions options;
    options.nominal_hz = plan.frequency_hz;
    options.frequency_guess_hz = plan.frequency_hz / window.clock_ratio;
    options.bandwidth_hz = field_number(*setup.test, "distortion_bandwidth_hz");
    options.high_pass_hz = plus_input.high_pass_hz.value_or(0.0);
    const analysis::StepReading before = step.reading;
    step.reading = analysis::read_step(volts, window.rate_hz, options);
    refer_to_scale(plus_input, step.reading);
    step.reading.at_s = before.at_s;
    if (load.minus) step.plus_share = share_of_plus(volts, plus);
}

void judge_step(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
                const StepWindow& window, LoadStep& step) {
    const capture::Bench& bench = *setup.bench;
    const auto mark = [&](StepState state, std::string words) {
        step.state = state;
        step.trouble = std::move(words);
    };
    for (const analysis::TimeJump& jump : reading.placement.jumps) {
        if (jump.step != window.step) continue;
        // What the raw samples show is nearer than the marks on both sides.
        double at_s = 0.5 * (jump.after_s + jump.before_s);
        for (const capture::RawChannel& channel : reading.raw.channels) {
            for (const capture::RepeatedBlock& block : channel.repeated) {
                if (block.at_s > jump.after_s && block.at_s < jump.before_s) at_s = block.at_s;
            }
        }
        mark(StepState::dropout,
             fmt::format("{} near {} (between {} and {}): {}", jump_name(jump.jump_s), seconds_text(at_s),
                         seconds_text(jump.after_s), seconds_text(jump.before_s), jump_size(jump.jump_s)));
        return;
    }
    if (!window.inside) {
        const bool lost = reading.placement.lost_from && window.step >= *reading.placement.lost_from;
        mark(lost ? StepState::vanished : StepState::dropout,
             lost ? fmt::format("the tone is gone from {} on", seconds_text(window.from_s))
                  : fmt::format("dropout near {}", seconds_text(window.from_s)));
        return;
    }
    const double longest_s = longest_honest_cycles / field_number(*setup.test, "frequency_hz");
    const auto check_input = [&](std::size_t input_index, double peak) {
        const capture::Input& input = bench.inputs[input_index];
        for (const capture::RawChannel& channel : reading.raw.channels) {
            if (channel.channel != input.channel || step.state != StepState::sound) continue;
            if (const std::string words = overload_words(channel, input.name, window.from_s, window.to_s);
                !words.empty())
                return mark(StepState::overload, words);
            if (peak < loud_enough_dbfs) continue;
            for (const capture::Interval& zeros : channel.zeros_inside) {
                if (zeros.from_s < window.to_s && zeros.to_s > window.from_s &&
                    zeros.to_s - zeros.from_s > longest_s) {
                    mark(StepState::dropout,
                         fmt::format("dropout at {}: {:.1f} ms of exact zeros", seconds_text(zeros.from_s),
                                     1e3 * (zeros.to_s - zeros.from_s)));
                    return;
                }
            }
        }
    };
    check_input(load.plus, step.plus_peak_dbfs);
    if (load.minus && step.state == StepState::sound) check_input(*load.minus, step.minus_peak_dbfs);
    if (step.state == StepState::sound && step.reading.disturbed) {
        mark(StepState::dropout,
             uneven_words({true, step.reading.disturbed_at_s, step.reading.level_jumped}, window.from_s));
    }
}

bool looks_flat(const LoadStep& step) {
    return std::max(step.plus_flat_share, step.minus_flat_share) > flat_share;
}

void mark_standing_ceiling(const Setup& setup, std::size_t load_index, std::vector<LoadStep>& steps) {
    const capture::Load& load = setup.bench->loads[load_index];
    const auto look_at = [&](std::size_t input_index, double LoadStep::*peak, double LoadStep::*flat) {
        double highest = -200.0;
        for (const LoadStep& step : steps) {
            if (step.state == StepState::sound) highest = std::max(highest, step.*peak);
        }
        const auto under_ceiling = [&](const LoadStep& step) {
            return step.state == StepState::sound && step.*peak > highest - same_peak_db;
        };
        double faintest_v = 1e300;
        double loudest_v = 0.0;
        int flattened = 0;
        int looked_at = 0;
        for (const LoadStep& step : steps) {
            if (!under_ceiling(step)) continue;
            ++looked_at;
            if (step.*flat > flat_share) ++flattened;
            faintest_v = std::min(faintest_v, step.reading.fundamental_v);
            loudest_v = std::max(loudest_v, step.reading.fundamental_v);
        }
        // Loud steps spread over the ceiling's tilt (AC coupling) and look less flat than faint ones.
        if (flattened * 3 < looked_at) return;
        if (loudest_v < faintest_v * analysis::ratio_from_decibels(more_than_clipping_db)) return;
        const std::string& name = setup.bench->inputs[input_index].name;
        for (LoadStep& step : steps) {
            if (!under_ceiling(step)) continue;
            step.state = StepState::overload;
            step.trouble = fmt::format(
                "input overload: \"{}\" stands at a ceiling of {:.2f} dBFS at {}, whatever the tone's level",
                name, highest, seconds_text(step.reading.at_s));
        }
    };
    look_at(load.plus, &LoadStep::plus_peak_dbfs, &LoadStep::plus_flat_share);
    if (load.minus) look_at(*load.minus, &LoadStep::minus_peak_dbfs, &LoadStep::minus_flat_share);
}

void mark_vanished(StaircaseReading& reading) {
    for (auto& steps : reading.loads) {
        double loudest_v = 0.0;
        double loudest_level = -1e9;
        for (LoadStep& step : steps) {
            if (step.state != StepState::sound) continue;
            const double expected_v = loudest_v * analysis::ratio_from_decibels(
                                                      std::min(step.reading.level_dbfs - loudest_level, 0.0));
            if (loudest_v > 0.0 &&
                step.reading.fundamental_v < expected_v * analysis::ratio_from_decibels(-collapse_db)) {
                step.state = StepState::vanished;
                step.trouble = fmt::format("the output collapses at {}: protection, mute or a pulled lead",
                                           seconds_text(step.reading.at_s));
                continue;
            }
            if (step.reading.fundamental_v > loudest_v) {
                loudest_v = step.reading.fundamental_v;
                loudest_level = step.reading.level_dbfs;
            }
        }
    }
}

}  // namespace assay::cli
