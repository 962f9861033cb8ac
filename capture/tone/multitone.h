// Many sines at once, periodic, with phases chosen for a low crest factor: what measures an impedance. Every
// line lies on an odd multiple of 1 / period, so that even-order distortion falls between the lines, and none
// lies within 0.3 Hz of a multiple of 50 or 60 Hz, where mains hum would be drawn as if it were the driver.
#pragma once

#include <memory>
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

/// Mean square re the square of its highest instantaneous value; the crest factor is one over its root.
double mean_square_of(const Multitone& multitone);

/// Values by time: from a table of one period where the rate puts a whole number of frames into half of it
/// and the frame is a whole one, else the sum of the lines. Cheap to make once the table stands.
struct MultitoneValues {
    MultitoneValues(const Multitone& multitone, double rate_hz);
    double at(double frame) const;

  private:
    double rate_hz_ = 0.0;
    std::shared_ptr<const std::vector<ToneLine>> lines_{};
    std::shared_ptr<const std::vector<double>> half_period_{};
};

}  // namespace assay::capture
