#include "cli/measures/staircase_reading.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/signal/signal.h"
#include "cli/measures/fields.h"
#include "cli/measures/step_trouble.h"
#include "cli/measures/tone_plan.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr std::int64_t block_frames = 1 << 16;
constexpr double end_guard_s = 0.005;
constexpr double signal_to_doubt =
    8.0;  // a step whose amplitude is not eight times its own doubt is not there

double settling_s(double frequency_hz) {
    return std::max(0.06, 4.0 / frequency_hz);
}

std::vector<int> channels_of(const Setup& setup) {
    std::set<int> channels;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        channels.insert(setup.bench->inputs[load.plus].channel);
        if (load.minus) channels.insert(setup.bench->inputs[*load.minus].channel);
    }
    return {channels.begin(), channels.end()};
}

/// What states no uncertainty is taken as exact, and a warning says so.
void warn_of_exact_scales(const Setup& setup, TestResult& result) {
    std::set<std::string> exact;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        const auto look_at = [&](const capture::Input& input) {
            if (input.scale_doubts.empty()) exact.insert("input \"" + input.name + "\"");
        };
        look_at(setup.bench->inputs[load.plus]);
        if (load.minus) look_at(setup.bench->inputs[*load.minus]);
        if (load.resistance_doubts.empty() && std::isfinite(load.resistance_ohm))
            exact.insert("load \"" + load.name + "\"");
    }
    for (const std::string& name : exact) {
        result.whole.warn("taken-as-exact",
                          name + ": no uncertainty is stated, so the value is taken as exact",
                          "state uncertainty_percent, tolerance_percent or meter in the bench file");
    }
}

std::string file_of(const Take& take) {
    return take.recording.path.filename().string();
}

tl::unexpected<capture::Fault> untrusted(const Take& take, const analysis::Absent& why) {
    return capture::fail(FaultKind::untrusted_capture, file_of(take) + ": " + why.text, why.advice);
}

/// Decimated copies of the channels, for placing the tone.
Result<std::vector<std::vector<float>>> decimate(const Take& take, const std::vector<int>& channels,
                                                 double pass_hz, double& rate_hz) {
    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    std::vector<analysis::Decimator> decimators(channels.size(),
                                                analysis::Decimator(take.recording.rate_hz, pass_hz));
    rate_hz = decimators.front().rate_hz();
    std::vector<std::vector<float>> samples;
    for (std::int64_t first = 0; first < take.recording.frames; first += block_frames) {
        const auto read = reader->read_into(channels, first, block_frames, samples);
        if (!read) return tl::unexpected<capture::Fault>(read.error());
        for (std::size_t c = 0; c < channels.size(); ++c)
            decimators[c].push(samples[c].data(), samples[c].size());
    }
    std::vector<std::vector<float>> result;
    result.reserve(decimators.size());
    for (analysis::Decimator& decimator : decimators) result.push_back(decimator.finish());
    return result;
}

/// The channel that the tone stands out in best places it; all channels share one clock.
Result<analysis::Placement> place(const Take& take, const std::vector<int>& channels,
                                  const analysis::TonePlan& plan) {
    double rate_hz = 0.0;
    const auto decimated = decimate(take, channels, 1.6 * plan.high_hz, rate_hz);
    if (!decimated) return tl::unexpected<capture::Fault>(decimated.error());
    std::vector<std::pair<double, std::size_t>> by_loudness;
    by_loudness.reserve(decimated->size());
    for (std::size_t c = 0; c < decimated->size(); ++c) {
        double square_sum = 0.0;
        for (const float sample : (*decimated)[c])
            square_sum += static_cast<double>(sample) * static_cast<double>(sample);
        by_loudness.emplace_back(-square_sum, c);
    }
    std::sort(by_loudness.begin(), by_loudness.end());
    std::optional<analysis::Absent> why;
    for (const auto& [loudness, c] : by_loudness) {
        auto placement = analysis::align((*decimated)[c], rate_hz, plan);
        if (placement) return *placement;
        if (!why) why = placement.error();
    }
    return untrusted(take, *why);
}

double refined_ppm(const analysis::TonePlan& plan, const std::vector<std::vector<LoadStep>>& loads,
                   double otherwise) {
    double weights = 0.0;
    double sum = 0.0;
    for (const auto& steps : loads) {
        for (const LoadStep& step : steps) {
            if (step.state != StepState::sound ||
                step.reading.fundamental_v < 100.0 * step.reading.fundamental_doubt_v)
                continue;
            const double weight =
                std::min(std::pow(step.reading.fundamental_v /
                                      (step.reading.fundamental_doubt_v + 1e-9 * step.reading.fundamental_v),
                                  2.0),
                         1e12);
            weights += weight;
            sum += weight * (plan.frequency_hz / step.reading.frequency_hz - 1.0);
        }
    }
    return weights > 0.0 ? 1e6 * sum / weights : otherwise;
}

}  // namespace

std::string seconds_text(double seconds) {
    return fmt::format("{:.2f} s", seconds);
}

Result<StaircaseReading> read_staircase(const Setup& setup, const Take& take) {
    const capture::Bench& bench = *setup.bench;
    const analysis::TonePlan plan = plan_of(take.tone);
    const std::vector<int> channels = channels_of(setup);
    if (channels.back() > take.recording.channels) {
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("{}: the recording has {} channel{}, the bench's inputs need channel {}",
                        file_of(take), take.recording.channels, take.recording.channels == 1 ? "" : "s",
                        channels.back()),
            "record all inputs of the test in one file, channel n being input channel n");
    }
    StaircaseReading result;
    auto raw = capture::check_raw(take.recording, channels);
    if (!raw) return tl::unexpected<capture::Fault>(raw.error());
    result.raw = std::move(*raw);
    auto placement = place(take, channels, plan);
    if (!placement) return tl::unexpected<capture::Fault>(placement.error());
    result.placement = std::move(*placement);
    const double ratio = result.placement.clock_ratio;
    const double rate = take.recording.rate_hz;

    const double end_s = result.placement.step_starts_s.back() + ratio * plan.step_s;
    if (end_s - end_guard_s > take.recording.duration_s()) {
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("{}: cut short: the recording ends at {} while the tone goes on to {}", file_of(take),
                        seconds_text(take.recording.duration_s()), seconds_text(end_s)),
            "record until the tone file has ended");
    }

    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    result.loads.assign(setup.test->loads.size(), std::vector<LoadStep>(plan.step_starts_s.size()));
    const double settle_s = settling_s(plan.frequency_hz);
    std::vector<std::vector<float>> samples;
    for (std::size_t s = 0; s < plan.step_starts_s.size(); ++s) {
        const double from_s = result.placement.step_starts_s[s] + ratio * settle_s;
        const double to_s = result.placement.step_starts_s[s] + ratio * (plan.step_s - end_guard_s);
        const auto first = static_cast<std::int64_t>(std::llround(from_s * rate));
        const auto count = static_cast<std::int64_t>(std::llround((to_s - from_s) * rate));
        const bool inside =
            first >= 0 && first + count <= take.recording.frames && result.placement.step_sound[s];
        if (inside) {
            const auto read = reader->read_into(channels, first, count, samples);
            if (!read) return tl::unexpected<capture::Fault>(read.error());
        }
        for (std::size_t l = 0; l < result.loads.size(); ++l) {
            LoadStep& step = result.loads[l][s];
            step.reading.level_dbfs = 0.0;
            step.reading.at_s = 0.5 * (from_s + to_s);
            const StepWindow window{s, from_s, to_s, rate, ratio, inside};
            if (inside) read_load_step(setup, setup.test->loads[l], channels, samples, plan, window, step);
            judge_step(setup, setup.test->loads[l], result, window, step);
        }
    }
    std::size_t s = 0;
    for (const capture::Segment& segment : take.tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        for (auto& steps : result.loads) steps[s].reading.level_dbfs = segment.level_dbfs;
        ++s;
    }
    for (std::size_t l = 0; l < result.loads.size(); ++l) {
        const capture::Load& load = bench.loads[setup.test->loads[l]];
        const bool heard =
            std::any_of(result.loads[l].begin(), result.loads[l].end(), [](const LoadStep& step) {
                return step.reading.fundamental_v > signal_to_doubt * step.reading.fundamental_doubt_v &&
                       step.reading.fundamental_v > 0.0;
            });
        if (!heard) {
            return capture::fail(FaultKind::untrusted_capture,
                                 fmt::format("{}: no signal at load \"{}\": the tone is in another channel "
                                             "of the recording but not in this one",
                                             file_of(take), load.name),
                                 "check this load's probe and lead, the amplifier's channel and the channel "
                                 "numbers of the bench file");
        }
    }
    for (std::size_t l = 0; l < result.loads.size(); ++l) {
        mark_standing_ceiling(setup, setup.test->loads[l], result.loads[l]);
    }
    mark_vanished(result);
    const bool jumped = !result.placement.jumps.empty();
    result.clock_ppm = refined_ppm(plan, result.loads, jumped ? 0.0 : 1e6 * (ratio - 1.0));
    return result;
}

void add_conditions(const Setup& setup, const Take& take, const StaircaseReading& reading,
                    TestResult& result) {
    const auto add = [&](const char* name, Condition value) {
        result.conditions.emplace_back(name, std::move(value));
    };
    add("frequency_hz", field_number(*setup.test, "frequency_hz"));
    add("channels_driven", static_cast<double>(setup.test->loads.size()));
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        result.conditions.emplace_back("load_ohm." + load.name, load.resistance_ohm);
    }
    add_readings(*setup.test, result);
    warn_of_exact_scales(setup, result);
    add("start_s", reading.placement.start_s);
    add("clock_ppm", reading.clock_ppm);
    add("recorded_rate_hz", take.recording.rate_hz);
    add("recorded_format", take.recording.format);
    add("tone_rate_hz", take.tone.rate_hz);
}

}  // namespace assay::cli
