#include "cli/measures/jig/jig_take.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <set>

#include "analysis/signal/alignment.h"
#include "analysis/signal/delay_track.h"
#include "analysis/units.h"
#include "capture/raw_checks.h"
#include "capture/tone/impedance_tone.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/tone_plan.h"
#include "cli/measures/recording/trouble_words.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

// A multitone of crest factor 3 spends less than 0.01 % of its time within a thousandth of its peak; a
// ceiling shows many times as much. The peak must be fine against the converter's steps to say so.
constexpr double flat_share = 1e-3;
constexpr double fine_enough = 0.05;
constexpr double track_pass_hz = 2400.0;

struct Side {
    const capture::Input* input = nullptr;
    const capture::RawChannel* raw = nullptr;
    std::vector<float> samples{};
    float peak = 0.0F;
};

struct Step {
    std::vector<double> lines_hz{};
    double tone_s = 0.0;  // settled part, seconds of the tone
    double from_s = 0.0;  // the whole step in the recording
    double to_s = 0.0;
    double settled_s = 0.0;  // where the settled part begins in the recording
};

tl::unexpected<capture::Fault> refuse(const Take& take, const std::string& what, const std::string& mend) {
    return capture::fail(FaultKind::untrusted_capture, file_of(take) + ": " + what, mend);
}

std::vector<Step> steps_of(const Take& take, const analysis::Placement& placement) {
    std::vector<Step> steps;
    for (const capture::Segment& segment : take.tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        Step step;
        if (const auto* law = std::get_if<capture::Multitone>(&segment.law)) {
            for (const capture::ToneLine& line : capture::lines_of(*law))
                step.lines_hz.push_back(line.frequency_hz);
        }
        const double length_s = static_cast<double>(segment.frames) / take.tone.rate_hz;
        step.tone_s = length_s - capture::impedance_settling_s - capture::impedance_end_s;
        step.from_s = placement.step_starts_s[steps.size()];
        step.to_s = step.from_s + placement.clock_ratio * length_s;
        step.settled_s = step.from_s + placement.clock_ratio * capture::impedance_settling_s;
        steps.push_back(std::move(step));
    }
    return steps;
}

std::string break_words(const analysis::SteadyBreak& found, double offset_s) {
    const double at_s = offset_s + 0.5 * (found.from_s + found.to_s);
    if (!found.jump_s)
        return fmt::format("dropout or disturbance near {}: the tone is not itself", seconds_text(at_s));
    return fmt::format("{} near {}: {:.3g} ms {}", jump_name(*found.jump_s), seconds_text(at_s),
                       1e3 * std::abs(*found.jump_s), *found.jump_s < 0.0 ? "are missing" : "too much");
}

/// A flat top that no multitone has.
bool flattened(const std::vector<float>& samples) {
    float top = 0.0F;
    for (const float sample : samples) top = std::max(top, std::abs(sample));
    if (static_cast<double>(top) < fine_enough) return false;
    const auto near = std::count_if(samples.begin(), samples.end(),
                                    [top](float sample) { return std::abs(sample) >= 0.999F * top; });
    return static_cast<double>(near) > flat_share * static_cast<double>(samples.size());
}

double dbfs(float peak) {
    return analysis::floored_decibels(peak, 1e-10);
}

class Reader {
  public:
    Reader(const Setup& setup, const Take& take) : setup_(&setup), take_(&take) {}

    Result<JigTake> read() {
        const capture::Bench& bench = *setup_->bench;
        generator_.input = &bench.inputs[bench.jig->generator_side];
        driver_.input = &bench.inputs[bench.jig->driver_side];
        const std::set<int> numbers{generator_.input->channel, driver_.input->channel};
        channels_.assign(numbers.begin(), numbers.end());
        if (const auto enough = check_channels(*take_, channels_); !enough)
            return tl::unexpected<capture::Fault>(enough.error());
        auto raw = capture::check_raw(take_->recording, channels_);
        if (!raw) return tl::unexpected<capture::Fault>(raw.error());
        raw_ = std::move(*raw);
        for (Side* side : {&generator_, &driver_}) side->raw = raw_of(*side);
        const analysis::TonePlan plan = plan_of(take_->tone);
        auto placement = place_tone(*take_, channels_, plan);
        if (!placement) return tl::unexpected<capture::Fault>(placement.error());
        const std::vector<Step> steps = steps_of(*take_, *placement);
        if (steps.empty() || steps.back().lines_hz.empty()) {
            return capture::fail(FaultKind::internal, "the take's tone is no impedance tone", "");
        }
        if (const auto whole = check_length(*take_, steps.back().to_s); !whole)
            return tl::unexpected<capture::Fault>(whole.error());

        JigTake result;
        ratio_ = placement->clock_ratio;
        result.start_s = placement->start_s;
        for (const capture::Segment& segment : take_->tone.segments) {
            if (segment.role == capture::SegmentRole::step) result.level_dbfs = segment.level_dbfs;
        }
        if (auto full = read_step(steps.back(), *placement, steps.size() - 1); full) {
            result.full = std::move(*full);
        } else {
            return tl::unexpected<capture::Fault>(full.error());
        }
        result.generator_peak_dbfs = dbfs(generator_.peak);
        result.driver_peak_dbfs = dbfs(driver_.peak);
        result.clock_ppm = 1e6 * (ratio_ - 1.0);
        if (steps.size() > 1) {
            if (auto half = read_step(steps.front(), *placement, 0); half) {
                result.half = std::move(*half);
            } else {
                result.half_trouble = half.error().text;
            }
        }
        return result;
    }

  private:
    const capture::RawChannel* raw_of(const Side& side) const {
        for (const capture::RawChannel& channel : raw_.channels) {
            if (channel.channel == side.input->channel) return &channel;
        }
        return nullptr;
    }

    Result<void> load(const Step& step) {
        const double rate = take_->recording.rate_hz;
        auto reader = capture::RecordingReader::open(take_->recording);
        if (!reader) return tl::unexpected<capture::Fault>(reader.error());
        const auto first = static_cast<std::int64_t>(std::llround(step.settled_s * rate));
        const auto count = static_cast<std::int64_t>(std::floor(step.tone_s * ratio_ * rate));
        if (first < 0)
            return refuse(*take_, "the recording begins in the middle of the tone", "start recording first");
        for (Side* side : {&generator_, &driver_}) side->samples = {};  // before more memory is taken
        auto samples = reader->read(channels_, first, count);
        if (!samples) return tl::unexpected<capture::Fault>(samples.error());
        for (Side* side : {&generator_, &driver_}) {
            const auto at =
                std::find(channels_.begin(), channels_.end(), side->input->channel) - channels_.begin();
            side->samples = std::move((*samples)[static_cast<std::size_t>(at)]);
            side->peak = 0.0F;
            for (const float sample : side->samples) side->peak = std::max(side->peak, std::abs(sample));
        }
        return {};
    }

    Result<analysis::LineTransfer> read_step(const Step& step, const analysis::Placement& placement,
                                             std::size_t number) {
        if (auto loaded = load(step); !loaded) return tl::unexpected<capture::Fault>(loaded.error());
        for (const Side* side : {&generator_, &driver_}) {
            const std::string& name = side->input->name;
            if (const std::string words = overload_words(*side->raw, name, step.from_s, step.to_s);
                !words.empty())
                return refuse(*take_, words, record_again(true));
            if (static_cast<double>(side->peak) < loud_enough) continue;
            if (const std::string words = lost_buffer_words(*side->raw, name, step.from_s, step.to_s, false);
                !words.empty())
                return refuse(*take_, words, record_again(false));
        }
        const analysis::DelayTrack track = track_breaks(step);
        if (!track.breaks.empty())
            return refuse(*take_, break_words(track.breaks.front(), step.settled_s), record_again(false));
        for (const analysis::TimeJump& jump : placement.jumps) {
            if (jump.step == number) return refuse(*take_, jump_words(jump), record_again(false));
        }
        if (!placement.step_sound[number]) {
            return refuse(*take_, fmt::format("the tone is gone from {} on", seconds_text(step.from_s)),
                          record_again(false));
        }
        for (const Side* side : {&generator_, &driver_}) {
            if (!flattened(side->samples)) continue;
            return refuse(
                *take_,
                fmt::format("input overload: \"{}\" stands at a ceiling of {:.1f} dBFS between {} and {}",
                            side->input->name, dbfs(side->peak), seconds_text(step.settled_s),
                            seconds_text(step.to_s)),
                "lower the level, or the recorder's gain, then record again");
        }
        if (track.looked) ratio_ = track.clock_ratio;
        const auto signal = [this](const Side& side) {
            return analysis::Signal{side.samples, take_->recording.rate_hz, side.input->volts_per_unit()};
        };
        return analysis::transfer_of_lines(signal(generator_), signal(driver_), step.lines_hz, ratio_);
    }

    analysis::DelayTrack track_breaks(const Step& step) const {
        const double rate = take_->recording.rate_hz;
        const double top =
            std::min(step.lines_hz.back(), std::max(track_pass_hz, 2.2 * step.lines_hz.front()));
        analysis::Decimator decimator(rate, std::min(1.05 * top, 0.4 * rate));
        decimator.push(generator_.samples.data(), generator_.samples.size());
        const double slow_rate = decimator.rate_hz();
        const std::vector<float> slow = decimator.finish();
        std::vector<double> lines;
        for (const double line : step.lines_hz) {
            if (line <= top) lines.push_back(line);
        }
        return analysis::track_delay(slow, slow_rate, lines, ratio_);
    }

    const Setup* setup_;
    const Take* take_;
    std::vector<int> channels_{};
    capture::RawChecks raw_{};
    Side generator_{};
    Side driver_{};
    double ratio_ = 1.0;
};

/// Empty for a recording that is no file.
std::string key_of(const Setup& setup, const Take& take) {
    std::error_code error;
    const auto written = std::filesystem::last_write_time(take.recording.path, error);
    if (error) return {};
    return fmt::format("{}\n{}\n{}\n{}", setup.test->id, take.recording.path.string(), take.recording.frames,
                       written.time_since_epoch().count());
}

}  // namespace

Result<JigTake> read_jig_take(const Setup& setup, const Take& take) {
    const std::string key = setup.read ? key_of(setup, take) : std::string();
    if (key.empty()) return Reader(setup, take).read();
    if (const auto known = setup.read->jig.find(key); known != setup.read->jig.end()) return known->second;
    auto read = Reader(setup, take).read();
    if (read) setup.read->jig.emplace(key, *read);
    return read;
}

void add_jig_conditions(const Setup& setup, const Take& take, const JigTake& reading, TestResult& result) {
    const auto add = [&](const char* name, Condition value) {
        result.conditions.emplace_back(name, std::move(value));
    };
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const bool high = jig.topology == capture::ImpedanceJig::Topology::series_high;
    add("topology", std::string(high ? "series-high" : "sense-low"));
    add("series_ohm", jig.series_ohm);
    if (jig.lead_ohm > 0.0) add("lead_ohm", jig.lead_ohm);
    if (jig.input_resistance_ohm) add("input_resistance_ohm", *jig.input_resistance_ohm);
    add("drive_dbfs", reading.level_dbfs);
    add("generator_rms_v", reading.full.generator_rms_v);
    add("crest_factor", reading.full.generator_rms_v > 0.0
                            ? reading.full.generator_peak_v / reading.full.generator_rms_v
                            : 0.0);
    add("lines", static_cast<double>(reading.full.lines.size()));
    add_readings(*setup.test, result);
    add("start_s", reading.start_s);
    add("clock_ppm", reading.clock_ppm);
    add("recorded_rate_hz", take.recording.rate_hz);
    add("recorded_format", take.recording.format);
    add("tone_rate_hz", take.tone.rate_hz);
    for (const auto& [peak_dbfs, index] : {std::pair{reading.generator_peak_dbfs, jig.generator_side},
                                           std::pair{reading.driver_peak_dbfs, jig.driver_side}}) {
        const capture::Input& input = setup.bench->inputs[index];
        result.conditions.emplace_back("peak_dbfs." + input.name, peak_dbfs);
        if (input.clean_up_to_dbfs && peak_dbfs > *input.clean_up_to_dbfs) {
            result.whole.warn(
                "input-not-clean",
                fmt::format("input \"{}\" peaked at {:.1f} dBFS and is known to be clean up to {:.1f} "
                            "dBFS only",
                            input.name, peak_dbfs, *input.clean_up_to_dbfs),
                "lower the level or the recorder's gain");
        }
    }
}

}  // namespace assay::cli
