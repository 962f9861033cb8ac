// A long recording of a held sine or of music-like noise, read block by block: a level for each quarter of a
// second, then a few fits for each row of the log. Never more than a block of it is in memory.
#pragma once

#include <optional>
#include <vector>

#include "analysis/amplifier/held_output.h"
#include "cli/measures/measure.h"

namespace assay::cli {

inline constexpr double held_block_s = 0.25;

struct HeldLoad {
    std::vector<analysis::HeldRow> rows{};
    std::vector<double> block_levels{};    // volts RMS of the signal, from its start on
    std::vector<double> block_smooth_v{};  // the same of a sine, whatever the clock; see analysis::HeldBlocks
    std::vector<double> block_rms_v{};     // of all that was there; of a sine
    std::vector<double> dips_s{};          // of a sine: blocks with a gap, seconds of the recording
    std::size_t at_seams = 0;              // windows left out because the file begins again in them
    std::size_t left_out = 0;              // windows not trusted for another reason: dropouts, repeats
    std::size_t overloaded = 0;            // blocks with the input at full scale
    double overloaded_at_s = 0.0;
};

struct HeldRecording {
    double start_s = 0.0;        // of the signal; of noise to a quarter of a second
    double blocks_from_s = 0.0;  // where the first block of each load begins
    double clock_ppm = 0.0;
    std::size_t seams = 0;  // of a sine played in a loop
    double seam_gap_s = 0.0;
    std::vector<HeldLoad> loads{};

    /// The blocks of a load by the player's clock. `edge_s`: nothing of noise.
    analysis::HeldBlocks blocks(std::size_t load, std::optional<double> edge_s) const {
        const double ratio = 1.0 + 1e-6 * clock_ppm;
        return {.levels = loads[load].block_levels,
                .smooth = loads[load].block_smooth_v,
                .rms_v = loads[load].block_rms_v,
                .block_s = held_block_s / ratio,
                .first_s = (blocks_from_s - start_s) / ratio,
                .even = edge_s.has_value(),
                .edge_s = edge_s.value_or(0.0)};
    }
};

/// Faults: too few channels, a file that cannot be read, no signal of the test in it or at one of the loads.
[[nodiscard]] capture::Result<HeldRecording> read_held(const Setup& setup, const Take& take, double row_s);

}  // namespace assay::cli
