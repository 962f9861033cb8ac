// A long recording of a held sine or of music-like noise, read block by block: a level for each quarter of a
// second, then a few fits for each row of the log. Never more than a block of it is in memory.
#pragma once

#include <vector>

#include "analysis/amplifier/held_output.h"
#include "cli/measures/measure.h"

namespace assay::cli {

inline constexpr double held_block_s = 0.25;

struct HeldLoad {
    std::vector<analysis::HeldRow> rows{};
    std::vector<double> block_levels{};  // volts RMS of the signal, from its start on
    std::vector<double> dips_s{};        // of a sine: blocks with a gap, seconds of the recording
    std::size_t at_seams = 0;            // windows left out because the file begins again in them
    std::size_t left_out = 0;            // windows not trusted for another reason: dropouts, repeats
    std::size_t overloaded = 0;          // blocks with the input at full scale
    double overloaded_at_s = 0.0;
};

struct HeldRecording {
    double start_s = 0.0;  // of the signal, to a quarter of a second
    double clock_ppm = 0.0;
    std::size_t seams = 0;  // of a sine played in a loop
    double seam_gap_s = 0.0;
    std::vector<HeldLoad> loads{};

    /// Length of a block by the player's clock.
    double block_s() const { return held_block_s / (1.0 + 1e-6 * clock_ppm); }
};

/// Faults: too few channels, a file that cannot be read, no signal of the test in it or at one of the loads.
[[nodiscard]] capture::Result<HeldRecording> read_held(const Setup& setup, const Take& take, double row_s);

}  // namespace assay::cli
