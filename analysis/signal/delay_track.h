// Whether a multitone runs on without a break: lost and doubled blocks inside a long steady stretch.
//
// Window by window the phases of many lines are compared with those of the window before. A lost or doubled
// block turns all of them by one delay, which they give to a microsecond; a block replaced by something else
// scatters them. The recorder's clock shows as the same small delay everywhere and is found on the way.
//
// Range: at least eight windows; a window holds 4.5 / (distance of the lines) seconds. Jumps up to 50 ms are
// measured, longer ones found without their length. Jumps below about 2 us are not told from noise.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace assay::analysis {

struct SteadyBreak {
    double from_s = 0.0;  // of the samples given, between which it lies
    double to_s = 0.0;
    std::optional<double> jump_s{};  // negative: lost, positive: doubled; nothing: the signal is disturbed
};

struct DelayTrack {
    bool looked = false;       // false: too short, or no lines in reach
    double clock_ratio = 1.0;  // the given one, corrected
    std::vector<SteadyBreak> breaks{};
};

/// `lines_hz` by the tone's clock, all of them by rising frequency; those in the highest octave below 0.4 of
/// the rate are used.
DelayTrack track_delay(std::span<const float> samples, double rate_hz, std::span<const double> lines_hz,
                       double clock_ratio);

}  // namespace assay::analysis
