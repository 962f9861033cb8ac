// Where a tone's frames lie in a recording that started at another time on another clock.
//
// Matched filters on the analytic band-limited signal (independent of polarity and of a constant phase
// shift): first the coded head, then one mark after another. What must not be trusted is named: nothing
// there, another signal, played backwards, cut short, a block lost or doubled (the marks after it come early
// or late).
//
// Range: head signal-to-noise above about 0 dB within 0.5 f .. 1.5 f; clock ratio within 1000 ppm.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <tl/expected.hpp>
#include <vector>

#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

/// A waveform by its law: value at a time from its start, within [0, duration_s].
struct Waveform {
    double duration_s = 0.0;
    std::function<double(double)> at{};
};

/// The tone in plain numbers, seconds from its first frame.
struct TonePlan {
    double frequency_hz = 997.0;  // of the steady steps; of the marks where no step is steady
    double duration_s = 0.0;
    double low_hz = 500.0;  // band that holds head and marks
    double high_hz = 1500.0;
    double head_start_s = 0.0;
    Waveform head{};
    std::vector<double> chirp_starts_s{};  // of the head, from head_start_s
    std::vector<bool> chirp_rising{};
    Waveform rising_chirp{};  // of the head
    Waveform falling_chirp{};
    std::vector<double> mark_starts_s{};  // at least one before each step, at least one after the last
    std::vector<bool> mark_rising{};
    Waveform rising_mark{};
    Waveform falling_mark{};
    std::vector<double> step_starts_s{};
    double step_s = 0.0;  // the shortest
    Waveform whole{};     // the tone itself, to take up the thread after a long gap
};

/// A block lost (negative) or doubled (positive) between two marks that were both found.
struct TimeJump {
    double after_s = 0.0;  // seconds in the recording
    double before_s = 0.0;
    double jump_s = 0.0;
    std::size_t step = 0;  // the step that it lies in; the number of steps where it lies between two marks
                           // that have no step between them
};

struct Placement {
    double start_s = 0.0;      // of the tone's first frame, in seconds of the recording; below zero if cut
    double clock_ratio = 1.0;  // seconds by the recorder's count for one second of the tone
    double confidence = 0.0;   // normalised correlation of the head, 0..1
    std::vector<double> step_starts_s{};  // where each step lies in the recording, jumps followed
    std::vector<bool> step_sound{};       // false: a jump lies in this step, or its marks were not found
    std::vector<TimeJump> jumps{};
    std::optional<std::size_t> lost_from{};  // first step from which no mark was found any more
};

/// `recording` in any unit, the whole of one channel at its own rate, or already decimated by the caller.
tl::expected<Placement, Absent> align(const std::vector<float>& recording, double rate_hz,
                                      const TonePlan& plan);

/// Decimates by a whole factor with a linear-phase low-pass (Kaiser, 80 dB); streaming, the delay taken out.
class Decimator {
  public:
    Decimator(double rate_hz, double pass_hz);
    double rate_hz() const { return rate_hz_; }
    void push(const float* samples, std::size_t count);
    std::vector<float> finish();

  private:
    void emit();
    template <std::size_t outputs>
    void make(std::size_t factor);
    int factor_ = 1;
    double rate_hz_ = 0.0;
    std::vector<float> taps_{};
    std::vector<float> buffer_{};
    std::size_t read_ = 0;
    std::vector<float> out_{};
};

}  // namespace assay::analysis
