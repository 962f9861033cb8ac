#include "cli/measures/recording/tone_plan.h"

#include <algorithm>
#include <cmath>

#include "analysis/units.h"

namespace assay::cli {

namespace {

using capture::Chirp;
using capture::Segment;
using capture::SegmentRole;

analysis::Waveform wave_of(const Segment& segment, double rate_hz) {
    Segment at_full_scale = segment;
    at_full_scale.level_dbfs = 0.0;
    return {static_cast<double>(segment.frames) / rate_hz, [at_full_scale, rate_hz](double seconds) {
                return capture::value_at(at_full_scale, rate_hz, seconds * rate_hz);
            }};
}

bool rises(const Segment& segment) {
    const auto& chirp = std::get<Chirp>(segment.law);
    return chirp.to_hz > chirp.from_hz;
}

double value_of_tone(const capture::Tone& tone, double frame) {
    const auto next = std::upper_bound(
        tone.segments.begin(), tone.segments.end(), frame,
        [](double at, const Segment& segment) { return at < static_cast<double>(segment.first_frame); });
    if (next == tone.segments.begin()) return 0.0;
    const Segment& segment = *(next - 1);
    return capture::value_at(segment, tone.rate_hz, frame - static_cast<double>(segment.first_frame));
}

}  // namespace

analysis::TonePlan plan_of(const capture::Tone& tone) {
    analysis::TonePlan plan;
    plan.duration_s = tone.duration_s();
    const double rate = tone.rate_hz;
    std::vector<Segment> head;
    bool steady = false;
    for (const Segment& segment : tone.segments) {
        const double start_s = static_cast<double>(segment.first_frame) / rate;
        if (segment.role == SegmentRole::head) {
            if (head.empty()) plan.head_start_s = start_s;
            head.push_back(segment);
            plan.chirp_starts_s.push_back(start_s - plan.head_start_s);
            plan.chirp_rising.push_back(rises(segment));
            (rises(segment) ? plan.rising_chirp : plan.falling_chirp) = wave_of(segment, rate);
        } else if (segment.role == SegmentRole::mark) {
            plan.mark_starts_s.push_back(start_s);
            plan.mark_rising.push_back(rises(segment));
            (rises(segment) ? plan.rising_mark : plan.falling_mark) = wave_of(segment, rate);
            const auto& chirp = std::get<Chirp>(segment.law);
            plan.low_hz = std::min(chirp.from_hz, chirp.to_hz);
            plan.high_hz = std::max(chirp.from_hz, chirp.to_hz);
        } else {
            const double length_s = static_cast<double>(segment.frames) / rate;
            plan.step_s = plan.step_starts_s.empty() ? length_s : std::min(plan.step_s, length_s);
            plan.step_starts_s.push_back(start_s);
            if (const auto* sine = std::get_if<capture::SteadySine>(&segment.law)) {
                plan.frequency_hz = sine->frequency_hz;
                steady = true;
            }
        }
    }
    if (!steady) plan.frequency_hz = 0.5 * (plan.low_hz + plan.high_hz);
    if (!head.empty()) {
        const std::int64_t first = head.front().first_frame;
        const double end = static_cast<double>(head.back().first_frame + head.back().frames - first);
        const double head_gain = analysis::ratio_from_decibels(-head.front().level_dbfs);
        plan.head = {end / rate, [&tone, first, rate, head_gain](double seconds) {
                         return head_gain * value_of_tone(tone, static_cast<double>(first) + seconds * rate);
                     }};
    }
    plan.whole = {plan.duration_s,
                  [&tone, rate](double seconds) { return value_of_tone(tone, seconds * rate); }};
    return plan;
}

}  // namespace assay::cli
