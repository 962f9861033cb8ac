// A tone is what leaves the bench: segments of simple signal laws on a frame grid, rendered block
// by block and never held whole. Levels are dB re a full-scale sine (the level of a chirp or a multitone is
// that of the sine with the same peak).
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "capture/tone/multitone.h"
#include "capture/tone/shaped_noise.h"

namespace assay::capture {

/// sin(2 pi f t + phase), t from the first frame of the segment.
struct SteadySine {
    double frequency_hz = 1000.0;
    double phase_rad = 0.0;
};

/// Linear chirp from one frequency to another over the segment.
struct Chirp {
    double from_hz = 500.0;
    double to_hz = 1500.0;
};

/// sin(2 pi start growth exp(t / growth)): the exponential sweep in its synchronised form, in which harmonic
/// n is the sweep itself, earlier by growth ln n (Novak, Lotton, Simon, J. Audio Eng. Soc. 63(10), 2015). The
/// frequency is start exp(t / growth).
struct LogSweep {
    double start_hz = 10.0;
    double growth_s = 1.4;  // time in which the frequency rises by the factor e
};

/// Two sines that begin in phase; `low_share` of the peak belongs to the lower one, the rest to the other.
struct SinePair {
    double low_hz = 60.0;
    double high_hz = 7000.0;
    double low_share = 0.8;
};

/// A sine at the segment's level for on_s, then off_db lower for off_s, over and over; the quiet part first.
struct ToneBurst {
    double frequency_hz = 1000.0;
    double on_s = 0.02;
    double off_s = 0.48;
    double off_db = 20.0;
};

using SignalLaw = std::variant<SteadySine, Chirp, Multitone, LogSweep, SinePair, ToneBurst, ShapedNoise>;

/// Mean square re that of a full-scale sine, of the law at 0 dBFS.
double relative_mean_square(const SignalLaw& law);

enum class SegmentRole {
    head,  // the coded start, by which the tone is found and known for what it is
    mark,  // the short chirp before a step, by which lost and doubled blocks are found
    step,  // what is measured
};

/// Frames not covered by a segment are silent. Segments do not overlap and stand in order of time.
struct Segment {
    std::int64_t first_frame = 0;
    std::int64_t frames = 0;
    SignalLaw law = SteadySine{};
    double level_dbfs = -20.0;
    std::int64_t fade_frames = 0;  // raised-cosine fade at each end, inside the segment
    SegmentRole role = SegmentRole::step;
};

struct Tone {
    double rate_hz = 96000.0;
    std::int64_t frames = 0;  // whole length with the silence at both ends
    std::vector<Segment> segments{};

    double duration_s() const { return static_cast<double>(frames) / rate_hz; }
    /// Highest segment level.
    double peak_dbfs() const;
    /// Integral of the square over time re a full-scale sine, seconds; what heats a load.
    double energy_s() const;
};

/// Writes frames [first, first + out.size()) of the tone.
void render(const Tone& tone, std::int64_t first, std::span<float> out);

/// One value of a segment, `frame` counted from its own start.
double value_at(const Segment& segment, double rate_hz, double frame);

}  // namespace assay::capture
