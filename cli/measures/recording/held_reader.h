// What readers of a long recording share: its file, the inputs at both ends of each load, and a pass over all
// of it, block by block, for levels, overload and dips. Never more than a block of it is in memory.
#pragma once

#include <vector>

#include "capture/recording.h"
#include "cli/measures/recording/held_recording.h"

namespace assay::cli {

struct HeldEnds {
    std::size_t plus = 0;  // places among the channels that are read
    std::size_t minus = 0;
    const capture::Load* load = nullptr;
};

struct HeldReader {
    const Setup& setup;
    const Take& take;
    std::vector<int> channels{};
    std::vector<HeldEnds> ends{};  // one a load
    capture::RecordingReader file;
    double rate_hz = 0.0;
    double frequency_hz = 0.0;  // of a sine; 0: noise
};

/// Faults: too few channels, a file that cannot be read.
[[nodiscard]] capture::Result<HeldReader> open_held(const Setup& setup, const Take& take);

/// Volts across a load, of samples of the reader's channels.
std::vector<double> held_volts(const HeldReader& reader, std::size_t load,
                               const std::vector<std::vector<float>>& samples);

/// Volts across a load from a second of the recording on; empty where the recording ends before that.
[[nodiscard]] capture::Result<std::vector<double>> held_stretch(HeldReader& reader, std::size_t load,
                                                                double from_s, double seconds);

/// Fills the blocks, the overloads and, of a sine, the dips of each load.
[[nodiscard]] capture::Result<void> read_held_blocks(HeldReader& reader, HeldRecording& held);

/// Volts RMS at a load below which nothing there counts as the signal: -60 dBFS of its input.
double held_least_v(const HeldReader& reader, std::size_t load);

/// What is said where the signal is not found at a load.
capture::Fault held_signal_missing(const HeldReader& reader, std::size_t load, bool noise);

/// Rows of music-like noise: the RMS of whole periods, whose start does not matter. Sets the start, the clock
/// and the rows.
[[nodiscard]] capture::Result<void> read_noise_rows(HeldReader& reader, HeldRecording& held, double period_s,
                                                    double row_s);

}  // namespace assay::cli
