// Many sines at once, periodic, with phases chosen for a low crest factor: what measures an impedance. Every
// line lies on an odd multiple of 1 / period, so that even-order distortion falls between the lines, and none
// lies within 0.3 Hz of a multiple of 50 or 60 Hz, where mains hum would be drawn as if it were the driver.
#pragma once

#include <vector>

namespace assay::capture {

/// Deterministic: the same settings give the same lines on every machine.
struct Multitone {
    double period_s = 5.0;
    double start_hz = 10.0;
    double stop_hz = 20000.0;
    double lines_per_octave = 96.0;  // where 1 / period does not set the distance
};

struct ToneLine {
    double frequency_hz = 0.0;
    double amplitude = 0.0;  // peak, re the highest instantaneous value of the whole multitone
    double phase_rad = 0.0;  // sin(2 pi f t + phase)
};

/// By rising frequency.
std::vector<ToneLine> lines_of(const Multitone& multitone);

}  // namespace assay::capture
