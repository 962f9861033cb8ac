// What every tone that must be found again has in common: silence, the coded head, marks.
#pragma once

#include <cstdint>
#include <string>

#include "capture/tone/tone.h"

namespace assay::capture {

inline constexpr double tone_silence_s = 0.5;  // players swallow the first instants and cut the last ones
inline constexpr double head_gap_s = 0.1;      // after the head
inline constexpr double head_below_top_db = 10.0;

/// Puts one segment after another into a tone, from the silence on.
struct ToneBuilder {
    ToneBuilder(double rate_hz, double frequency_hz, std::string code);

    std::int64_t frames_of(double seconds) const;
    void add(std::int64_t frames, const SignalLaw& law, double level_dbfs, std::int64_t fade_frames,
             SegmentRole role);
    void wait(double seconds) { frame_ += frames_of(seconds); }
    /// A coded row of chirps around the frequency, which tells this tone from those of other codes.
    void add_head(double level_dbfs);
    /// A short chirp; rising or falling so that marks a few steps apart are unlike.
    void add_mark(double level_dbfs);
    Tone finish();

  private:
    Tone tone_{};
    double frequency_hz_ = 997.0;
    std::string code_{};
    std::int64_t frame_ = 0;
    std::uint64_t mark_bits_ = 0;
};

}  // namespace assay::capture
