// A quiet tone from one output, as each input of the bench hears it: volts at the probe's tip, phase, and
// what is there without the tone.
#pragma once

#include <vector>

#include "capture/bench.h"
#include "capture/recording.h"

namespace assay::cli {

inline constexpr double crosstalk_db = -30.0;  // re the loudest input: not meant to be there

/// The tone of an input as one output alone gives it.
struct HeardInput {
    bool present = false;
    double volts_rms = 0.0;  // at the probe tip
    double phase_rad = 0.0;  // re the loudest input of the take
    double hum_v = 0.0;      // RMS of what is there without the tone
    bool mains = false;      // that is a multiple of 50 or 60 Hz
    double doubt_v = 0.0;    // standard uncertainty of volts_rms, by noise
};

/// What the inputs hear while one output alone plays.
struct HeardOutput {
    std::size_t output = 0;  // index into Bench::outputs
    std::vector<HeardInput> inputs{};
};

/// All samples of the channels that the bench's inputs are, in their order. For short takes only.
[[nodiscard]] capture::Result<std::vector<std::vector<float>>> read_inputs(
    const capture::Bench& bench, const capture::Recording& recording);

/// First sample of the window in which the channels together hold most of the frequency.
std::size_t loudest_window(const std::vector<std::vector<float>>& channels, double rate_hz,
                           double frequency_hz, std::size_t length);

/// One entry an input of the bench. The recording begins with the silence of every tone of ours; the window
/// of the tone is where the inputs hear most of it. Faults are those of reading the file.
[[nodiscard]] capture::Result<std::vector<HeardInput>> listen(const capture::Bench& bench,
                                                              const capture::Recording& recording,
                                                              double frequency_hz);

}  // namespace assay::cli
