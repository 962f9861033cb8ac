#include "capture/tone/tone.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace assay::capture {

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

double law_value(const SignalLaw& law, double seconds, double duration_s) {
    if (const auto* sine = std::get_if<SteadySine>(&law)) {
        return std::sin(two_pi * sine->frequency_hz * seconds + sine->phase_rad);
    }
    const auto& chirp = std::get<Chirp>(law);
    const double slope_hz_per_s = (chirp.to_hz - chirp.from_hz) / duration_s;
    return std::sin(two_pi * (chirp.from_hz + 0.5 * slope_hz_per_s * seconds) * seconds);
}

double fade_gain(const Segment& segment, double frame) {
    if (segment.fade_frames <= 0) return 1.0;
    const double edge = std::min(frame, static_cast<double>(segment.frames) - frame);
    const double part = std::clamp(edge / static_cast<double>(segment.fade_frames), 0.0, 1.0);
    return 0.5 - 0.5 * std::cos(std::numbers::pi * part);
}

}  // namespace

double Tone::peak_dbfs() const {
    double peak = -200.0;
    for (const Segment& segment : segments) peak = std::max(peak, segment.level_dbfs);
    return peak;
}

double Tone::energy_s() const {
    double energy = 0.0;
    for (const Segment& segment : segments) {
        // A raised-cosine fade carries 3/8 of the energy of the same time at full level.
        const double full = static_cast<double>(segment.frames) -
                            2.0 * (1.0 - 0.375) * static_cast<double>(segment.fade_frames);
        energy += full / rate_hz * std::pow(10.0, segment.level_dbfs / 10.0);
    }
    return energy;
}

double value_at(const Segment& segment, double rate_hz, double frame) {
    if (frame < 0.0 || frame >= static_cast<double>(segment.frames)) return 0.0;
    const double amplitude = std::pow(10.0, segment.level_dbfs / 20.0);
    return amplitude * fade_gain(segment, frame) *
           law_value(segment.law, frame / rate_hz, static_cast<double>(segment.frames) / rate_hz);
}

void render(const Tone& tone, std::int64_t first, std::span<float> out) {
    std::fill(out.begin(), out.end(), 0.0F);
    const std::int64_t end = first + static_cast<std::int64_t>(out.size());
    const auto ends_after_first = std::partition_point(
        tone.segments.begin(), tone.segments.end(),
        [&](const Segment& segment) { return segment.first_frame + segment.frames <= first; });
    for (auto segment = ends_after_first; segment != tone.segments.end() && segment->first_frame < end;
         ++segment) {
        const std::int64_t from = std::max(first, segment->first_frame);
        const std::int64_t to = std::min(end, segment->first_frame + segment->frames);
        for (std::int64_t frame = from; frame < to; ++frame) {
            out[static_cast<std::size_t>(frame - first)] = static_cast<float>(
                value_at(*segment, tone.rate_hz, static_cast<double>(frame - segment->first_frame)));
        }
    }
}

}  // namespace assay::capture
