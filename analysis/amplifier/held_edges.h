// A held sine in blocks of a fraction of a second: when it began and ended inside a block, and its level
// right at the end of a run, beyond the middle of the log's last row.
//
// A block that holds only some of the sine has that share of a whole one's mean square. An edge that takes
// its time counts at its middle in power, as long as it lies within two blocks.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace assay::analysis {

struct HeldBlocks {
    std::span<const double> levels{};  // of the signal alone, in any unit, from about its start on
    std::span<const double> smooth{};  // the same through a Hann window over each block; only where `even`
    std::span<const double> rms_v{};   // of all that was there; only where `even`
    double block_s = 0.25;
    double first_s = 0.0;  // the first block's beginning, re the signal's start
    bool even = false;     // of a sine: a level that holds makes blocks that are alike; of noise they differ
    double edge_s = 0.0;   // half-width of the doubt of a sharp edge: a cycle of the sine

    double centre_minutes(std::size_t block) const {
        return (first_s + (static_cast<double>(block) + 0.5) * block_s) / 60.0;
    }
};

/// How many blocks before the beginning of `steady` the sine began, -1 to 1: negative inside it. `steady` is
/// the first block that is nearly whole; nothing is known of what came before the first one.
double begun_before(std::span<const double> rms_v, std::size_t steady);

struct HeldEdge {
    double blocks = 0.0;  // from the beginning of the first block
    bool sharp = false;   // within two blocks, and so told finer than a block
};

/// Where the sine ended; `quiet` is the first block without it, or with little of it left.
HeldEdge ended_within(std::span<const double> rms_v, std::size_t quiet);

/// Level in dB, on average over half a second about a moment; nothing outside of the blocks.
std::optional<double> level_db_about(const HeldBlocks& blocks, double minutes);

struct EndLevel {
    double level_db = 0.0;
    double doubt_db = 0.0;  // standard uncertainty
};

/// A parabola through the last three seconds of whole blocks, at the end. `noise_db` is what noise does to
/// one block without a window; where they scatter by more, that counts. Nothing where too few of them are
/// whole.
std::optional<EndLevel> level_at_end(const HeldBlocks& blocks, double end_minutes, double noise_db);

/// Half-width of the doubt of a level crossing between two moments, as a share of the time between them: by
/// how far the blocks leave the straight line in dB, re the fall. 1 where all of the fall came at once, or
/// where the blocks do not tell.
double unevenness(const HeldBlocks& blocks, double from_minutes, double to_minutes);

}  // namespace assay::analysis
