#include "cli/measures/steps/staircase_reading.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/signal/signal.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/tone_plan.h"
#include "cli/measures/steps/step_trouble.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double step_guard_s = 0.005;

double step_settling_s(double frequency_hz) {
    return std::max(0.06, 4.0 / frequency_hz);
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
    if (const auto enough = check_channels(take, channels); !enough)
        return tl::unexpected<capture::Fault>(enough.error());
    StaircaseReading result;
    auto raw = capture::check_raw(take.recording, channels);
    if (!raw) return tl::unexpected<capture::Fault>(raw.error());
    result.raw = std::move(*raw);
    auto placement = place_tone(take, channels, plan);
    if (!placement) return tl::unexpected<capture::Fault>(placement.error());
    result.placement = std::move(*placement);
    const double ratio = result.placement.clock_ratio;
    const double rate = take.recording.rate_hz;

    const double end_s = result.placement.step_starts_s.back() + ratio * plan.step_s;
    if (const auto whole = check_length(take, end_s); !whole)
        return tl::unexpected<capture::Fault>(whole.error());

    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    const std::vector<LoadStep> unread(plan.step_starts_s.size());
    result.loads.assign(setup.test->loads.size(), unread);
    // The reference is read as a load that is nothing but its input.
    std::vector<std::pair<capture::Load, std::vector<LoadStep>*>> rows;
    for (std::size_t l = 0; l < result.loads.size(); ++l)
        rows.emplace_back(bench.loads[setup.test->loads[l]], &result.loads[l]);
    if (setup.test->reference) {
        capture::Load own_input;
        own_input.name = bench.inputs[*setup.test->reference].name;
        own_input.plus = *setup.test->reference;
        own_input.bare_input = true;
        result.reference = unread;
        rows.emplace_back(own_input, &result.reference);
    }
    const double settle_s = step_settling_s(plan.frequency_hz);
    std::vector<std::vector<float>> samples;
    for (std::size_t s = 0; s < plan.step_starts_s.size(); ++s) {
        const double from_s = result.placement.step_starts_s[s] + ratio * settle_s;
        const double to_s = result.placement.step_starts_s[s] + ratio * (plan.step_s - step_guard_s);
        const auto first = static_cast<std::int64_t>(std::llround(from_s * rate));
        const auto count = static_cast<std::int64_t>(std::llround((to_s - from_s) * rate));
        const bool inside =
            first >= 0 && first + count <= take.recording.frames && result.placement.step_sound[s];
        if (inside) {
            const auto read = reader->read_into(channels, first, count, samples);
            if (!read) return tl::unexpected<capture::Fault>(read.error());
        }
        for (const auto& [load, steps] : rows) {
            LoadStep& step = (*steps)[s];
            step.reading.at_s = 0.5 * (from_s + to_s);
            const StepWindow window{s, from_s, to_s, rate, ratio, inside};
            if (inside) read_load_step(setup, load, channels, samples, plan, window, step);
            judge_step(setup, load, result, window, step);
        }
    }
    std::size_t s = 0;
    for (const capture::Segment& segment : take.tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        for (const auto& [load, steps] : rows) (*steps)[s].reading.level_dbfs = segment.level_dbfs;
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
                                 fmt::format("{}: no signal at {}: the tone is in another channel of the "
                                             "recording but not in this one",
                                             file_of(take), load.in_words()),
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
        if (!std::isfinite(load.resistance_ohm)) continue;  // an open load, or a bare input
        result.conditions.emplace_back("load_ohm." + load.name, load.resistance_ohm);
    }
    add_readings(*setup.test, result);
    warn_of_exact_scales(setup, result.whole);
    add("start_s", reading.placement.start_s);
    note_clock(reading.clock_ppm, result);
    add("recorded_rate_hz", take.recording.rate_hz);
    add("recorded_format", take.recording.format);
    add("tone_rate_hz", take.tone.rate_hz);
}

}  // namespace assay::cli
