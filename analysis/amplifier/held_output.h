// A level held for long: when the output ended, by what, and how far it had fallen until then.
//
// The reference is the median of the first rows. A fall counts where two rows one after another lie that far
// below it (the last row alone where it is the last); its time is read between rows by straight lines in dB,
// and doubted by how far the blocks between leave that line. An output that is gone for a second or more, by
// 12 dB or more, has cut out. Shorter gaps are a player's loop.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/amplifier/held_edges.h"

namespace assay::analysis {

struct HeldRow {
    double minutes = 0.0;  // from the tone's start, by the player's clock
    double total_v = 0.0;  // RMS
    double doubt_v = 0.0;  // standard uncertainty from noise alone
    double thd = 0.0;      // ratio; of a sine
    double crest = 0.0;    // highest value over RMS; of noise
};

struct HeldOptions {
    double minutes = 30.0;  // that were asked for
    double end_fall_db = 1.0;
};

/// `supply`: its readings say so, and nothing of what was recorded (see the caller).
enum class HeldEnd { time, fall, cut_out, recording_ended, supply };

struct HeldOutcome {
    HeldEnd ended_by = HeldEnd::time;
    double run_minutes = 0.0;         // until the end; of recording_ended, what was heard
    double resolution_minutes = 0.0;  // half-width of its doubt, rectangular
    double fall_db = 0.0;             // at the end
    double fall_doubt_db = 0.0;
    std::size_t returns = 0;  // how often the output came back after a cut-out
};

/// Mean of the squared volts from the tone's start to the end of the run.
struct HeldSquare {
    double mean = 0.0;
    double doubt =
        0.0;  // standard uncertainty of the mean, from what lies before the first row and after the last
    double at_end = 0.0;  // what the square was there
};

/// By straight lines between the rows, which go on to both ends. Rows rising in time, at least one.
HeldSquare held_square(std::span<const HeldRow> rows, double end_minutes);

/// First block from which the level stands still for two seconds; nothing where it never does.
std::optional<std::size_t> steady_from(std::span<const double> block_levels, double least);

/// The same for noise, whose blocks differ: the first block from which two seconds stay above the least and
/// within 12 dB of their own middle.
std::optional<std::size_t> noise_from(std::span<const double> block_levels, double least);

/// Blocks up to the recording's end, by the player's clock; rows rising in time. Nothing where there is no
/// row.
std::optional<HeldOutcome> held_outcome(std::span<const HeldRow> rows, const HeldBlocks& blocks,
                                        const HeldOptions& options);

struct HeldFall {
    double fall_db = 0.0;
    double doubt_db = 0.0;       // standard uncertainty
    double db_per_minute = 0.0;  // at that moment, by the last two rows
};

/// How far the output had fallen at a moment, from the first rows. By the blocks before it; of noise, and
/// where they are not whole, by straight lines from the last rows before it. Needs a row.
HeldFall held_fall(std::span<const HeldRow> rows, const HeldBlocks& blocks, double at_minutes);

}  // namespace assay::analysis
