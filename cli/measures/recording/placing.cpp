#include "cli/measures/recording/placing.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr std::int64_t block_frames = 1 << 16;
constexpr double placing_guard_s = 0.005;

tl::unexpected<capture::Fault> untrusted(const Take& take, const analysis::Absent& why) {
    return capture::fail(FaultKind::untrusted_capture, file_of(take) + ": " + why.text, why.advice);
}

// A recording may start a minute before the tone. What is much longer than minute and tone is searched piece
// by piece, so that an hour takes no more memory than a minute.
constexpr double before_tone_s = 65.0;
constexpr double after_tone_s = 10.0;
constexpr double longest_clock = 1.002;

/// Decimated copies of a stretch of the channels, for placing the tone.
Result<std::vector<std::vector<float>>> decimate(const Take& take, const std::vector<int>& channels,
                                                 double pass_hz, std::int64_t from, std::int64_t to,
                                                 double& rate_hz) {
    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    std::vector<analysis::Decimator> decimators(channels.size(),
                                                analysis::Decimator(take.recording.rate_hz, pass_hz));
    rate_hz = decimators.front().rate_hz();
    std::vector<std::vector<float>> samples;
    for (std::int64_t first = from; first < to; first += block_frames) {
        const auto read = reader->read_into(channels, first, std::min(block_frames, to - first), samples);
        if (!read) return tl::unexpected<capture::Fault>(read.error());
        for (std::size_t c = 0; c < channels.size(); ++c)
            decimators[c].push(samples[c].data(), samples[c].size());
    }
    std::vector<std::vector<float>> result;
    result.reserve(decimators.size());
    for (analysis::Decimator& decimator : decimators) result.push_back(decimator.finish());
    return result;
}

/// The tone in a stretch of the recording, by the loudest channel that holds it; times from the stretch's
/// start.
Result<tl::expected<analysis::Placement, analysis::Absent>> place_within(const Take& take,
                                                                         const std::vector<int>& channels,
                                                                         const analysis::TonePlan& plan,
                                                                         std::int64_t from, std::int64_t to) {
    double rate_hz = 0.0;
    const auto decimated = decimate(take, channels, 1.6 * plan.high_hz, from, to, rate_hz);
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
        if (placement) return placement;
        if (!why) why = placement.error();
    }
    return tl::expected<analysis::Placement, analysis::Absent>(tl::unexpected<analysis::Absent>(*why));
}

void move_by(analysis::Placement& placement, double seconds) {
    placement.start_s += seconds;
    for (double& start_s : placement.step_starts_s) start_s += seconds;
    for (analysis::TimeJump& jump : placement.jumps) {
        jump.after_s += seconds;
        jump.before_s += seconds;
    }
}

}  // namespace

Result<analysis::Placement> place_tone(const Take& take, const std::vector<int>& channels,
                                       const analysis::TonePlan& plan) {
    const double rate = take.recording.rate_hz;
    const auto frames_of = [&](double seconds) { return static_cast<std::int64_t>(seconds * rate); };
    const std::int64_t all = take.recording.frames;
    const double tone_s = longest_clock * plan.duration_s;
    const std::int64_t window = frames_of(before_tone_s + tone_s + after_tone_s);
    const std::int64_t hop = frames_of(before_tone_s - after_tone_s);
    std::optional<analysis::Absent> why;
    for (std::int64_t from = 0;;) {
        // A little more than the window is no reason for a second one.
        const std::int64_t to = all - from <= window + hop ? all : from + window;
        auto placed = place_within(take, channels, plan, from, to);
        if (!placed) return tl::unexpected<capture::Fault>(placed.error());
        if (*placed) {
            const std::int64_t start = from + frames_of((*placed)->start_s);
            const std::int64_t end = start + frames_of(tone_s + after_tone_s);
            if (end > to && to < all && start - frames_of(after_tone_s) > from) {
                from = start - frames_of(after_tone_s);  // its end is not in this stretch
                continue;
            }
            move_by(**placed, static_cast<double>(from) / rate);
            return std::move(**placed);
        }
        // What is worth telling most: that something was there.
        if (!why || why->code == "no-signal") why = placed->error();
        if (to == all || why->code == "backwards") return untrusted(take, *why);
        from += hop;
    }
}

Result<void> check_channels(const Take& take, const std::vector<int>& channels) {
    if (channels.back() <= take.recording.channels) return {};
    return capture::fail(
        FaultKind::untrusted_capture,
        fmt::format("{}: the recording has {} channel{}, the bench's inputs need channel {}", file_of(take),
                    take.recording.channels, take.recording.channels == 1 ? "" : "s", channels.back()),
        "record all inputs of the test in one file, channel n being input channel n");
}

Result<void> check_length(const Take& take, double end_s) {
    if (end_s - placing_guard_s <= take.recording.duration_s()) return {};
    return capture::fail(
        FaultKind::untrusted_capture,
        fmt::format("{}: cut short: the recording ends at {} while the tone goes on to {}", file_of(take),
                    seconds_text(take.recording.duration_s()), seconds_text(end_s)),
        "record until the tone file has ended");
}

std::string file_of(const Take& take) {
    return take.recording.path.filename().string();
}

}  // namespace assay::cli
