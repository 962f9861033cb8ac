#include "capture/tone/tone.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "capture/units.h"

namespace assay::capture {

namespace {

/// A law with what it needs to be asked for many values.
struct LawValues {
    explicit LawValues(const Segment& segment, double rate_hz) : segment_(segment), rate_hz_(rate_hz) {
        if (const auto* multitone = std::get_if<Multitone>(&segment.law)) many_.emplace(*multitone, rate_hz);
        if (const auto* noise = std::get_if<ShapedNoise>(&segment.law)) noise_.emplace(*noise, rate_hz);
    }

    double at(double frame) const {
        if (many_) return many_->at(frame);
        if (noise_) return noise_->at(frame);
        const double seconds = frame / rate_hz_;
        if (const auto* sine = std::get_if<SteadySine>(&segment_.law))
            return std::sin(two_pi * sine->frequency_hz * seconds + sine->phase_rad);
        if (const auto* sweep = std::get_if<LogSweep>(&segment_.law)) {
            return std::sin(two_pi * sweep->start_hz * sweep->growth_s * std::exp(seconds / sweep->growth_s));
        }
        if (const auto* pair = std::get_if<SinePair>(&segment_.law)) {
            return pair->low_share * std::sin(two_pi * pair->low_hz * seconds) +
                   (1.0 - pair->low_share) * std::sin(two_pi * pair->high_hz * seconds);
        }
        if (const auto* burst = std::get_if<ToneBurst>(&segment_.law)) {
            const double within_s = std::fmod(seconds, burst->off_s + burst->on_s);
            const double gain = within_s < burst->off_s ? ratio_from_decibels(-burst->off_db) : 1.0;
            return gain * std::sin(two_pi * burst->frequency_hz * seconds);
        }
        const auto& chirp = std::get<Chirp>(segment_.law);
        const double duration_s = static_cast<double>(segment_.frames) / rate_hz_;
        const double slope_hz_per_s = (chirp.to_hz - chirp.from_hz) / duration_s;
        return std::sin(two_pi * (chirp.from_hz + 0.5 * slope_hz_per_s * seconds) * seconds);
    }

  private:
    const Segment& segment_;
    double rate_hz_;
    std::optional<MultitoneValues> many_{};
    std::optional<ShapedNoiseValues> noise_{};
};

double fade_gain(const Segment& segment, double frame) {
    if (segment.fade_frames <= 0) return 1.0;
    const double edge = std::min(frame, static_cast<double>(segment.frames) - frame);
    const double part = std::clamp(edge / static_cast<double>(segment.fade_frames), 0.0, 1.0);
    return 0.5 - 0.5 * std::cos(std::numbers::pi * part);
}

double value_of(const Segment& segment, const LawValues& law, double frame) {
    if (frame < 0.0 || frame >= static_cast<double>(segment.frames)) return 0.0;
    const double amplitude = ratio_from_decibels(segment.level_dbfs);
    return amplitude * fade_gain(segment, frame) * law.at(frame);
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
        energy += full / rate_hz * relative_mean_square(segment.law) *
                  power_ratio_from_decibels(segment.level_dbfs);
    }
    return energy;
}

double relative_mean_square(const SignalLaw& law) {
    if (const auto* multitone = std::get_if<Multitone>(&law)) return 2.0 * mean_square_of(*multitone);
    if (const auto* noise = std::get_if<ShapedNoise>(&law))
        return 2.0 * power_ratio_from_decibels(-noise->crest_factor_db);
    if (const auto* pair = std::get_if<SinePair>(&law)) {
        const double high_share = 1.0 - pair->low_share;
        return pair->low_share * pair->low_share + high_share * high_share;
    }
    if (const auto* burst = std::get_if<ToneBurst>(&law)) {
        const double quiet = power_ratio_from_decibels(-burst->off_db);
        return (burst->on_s + quiet * burst->off_s) / (burst->on_s + burst->off_s);
    }
    return 1.0;
}

double value_at(const Segment& segment, double rate_hz, double frame) {
    return value_of(segment, LawValues(segment, rate_hz), frame);
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
        const LawValues law(*segment, tone.rate_hz);
        for (std::int64_t frame = from; frame < to; ++frame) {
            out[static_cast<std::size_t>(frame - first)] = static_cast<float>(
                value_of(*segment, law, static_cast<double>(frame - segment->first_frame)));
        }
    }
}

}  // namespace assay::capture
