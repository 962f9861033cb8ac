// A long recording of a held sine, read block by block: a level for each quarter of a second, then a few fits
// for each row of the log. Never more than a block of it is in memory.
#pragma once

#include <vector>

#include "analysis/amplifier/held_output.h"
#include "cli/measures/measure.h"

namespace assay::cli {

inline constexpr double held_block_s = 0.25;

struct HeldLoad {
    std::vector<analysis::HeldRow> rows{};
    std::vector<double> block_levels{};  // volts RMS of the tone, from its start on
    std::size_t left_out = 0;            // windows not trusted: dropouts, repeats, seams of the loop
    std::size_t overloaded = 0;          // blocks with the input at full scale
    double overloaded_at_s = 0.0;
};

struct HeldRecording {
    double start_s = 0.0;  // of the tone, to a quarter of a second
    double clock_ppm = 0.0;
    std::vector<HeldLoad> loads{};
};

/// Faults: too few channels, a file that cannot be read, no steady tone in it or at one of the loads.
[[nodiscard]] capture::Result<HeldRecording> read_held(const Setup& setup, const Take& take, double row_s);

}  // namespace assay::cli
