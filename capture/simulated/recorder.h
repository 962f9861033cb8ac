// The record side of the simulated card as a whole: what its inputs heard so far, at twice the rate, becomes
// frames of the recording on the card's own record clock.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/simulated/card.h"

namespace assay::capture {

/// The highest channel number of the bench's inputs, at least 1. Channel n of a recording is input
/// channel n; numbers that no input has carry the card's noise.
int recorded_channels(const Bench& bench);

/// Where the play side starts: early enough that the first record frame finds the filters filled.
std::int64_t first_play_frame(const SimulatedCard& card, double rate_hz);

/// Frames of the tone that are played at once; the play side moves on by so many.
inline constexpr std::size_t play_block_frames = 512;

/// Volts at an output for sample value 1.0, sign included.
double play_volts(const Bench& bench, std::size_t output);

struct Recorder {
    /// `stages`: steps by two from the card's rate to the grid on which volts come in.
    Recorder(const Bench& bench, double rate_hz, int stages, const std::string& take_name);

    /// `index` into Bench::inputs. Gives the place of the input here.
    std::size_t connect(std::size_t index);
    /// Volts at the tip of an input, the next block of them.
    void hear(std::size_t place, std::span<const double> volts);
    /// Volts that are added at a frame, one for each connected input.
    using AddedVolts = std::function<void(std::int64_t frame, std::span<double> volts)>;
    /// Record frames that have all they need, interleaved. `play_frame`: the first that was not heard yet.
    std::span<const float> ready_frames(std::int64_t end_frame, std::int64_t play_frame,
                                        const AddedVolts& added);
    std::int64_t next_frame() const { return record_frame_; }

  private:
    struct OpenInput {
        std::size_t channel = 0;  // of the recording, from 0
        double units_per_volt = 1.0;
        RecordSide side;
        std::vector<double> doubled{};  // heard and not yet given out
    };
    double doubled_position(std::int64_t index) const;

    const Bench& bench_;
    double rate_hz_;
    int stages_;
    std::vector<OpenInput> inputs_{};
    ClockStep clock_step_{};
    Quantiser quantise_;
    std::vector<RandomSource> noise_{};  // one a recorded channel
    double doubled_start_ = 0.0;         // position at twice the rate of play frame 0
    std::int64_t doubled_dropped_ = 0;   // samples at twice the rate that are no longer held
    std::int64_t record_frame_ = 0;
    std::vector<double> heard_{};
    std::vector<double> frame_{};
    std::vector<double> added_{};
    std::vector<double> kernel_;
    double kernel_part_ = -1.0;
    std::vector<float> interleaved_{};
};

}  // namespace assay::capture
