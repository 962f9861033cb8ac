#include "analysis/amplifier/held_output.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "analysis/signal/median.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr std::size_t steady_blocks = 8;
constexpr double steady_within = 0.1;
constexpr std::size_t reference_rows = 3;
constexpr std::size_t reference_blocks = 40;
constexpr double gone = 0.25;  // of the level: 12 dB
constexpr double gone_s = 1.0;
constexpr double end_slack_s = 2.0;  // a player's clock and the block's length
const double db_per_relative = 20.0 / std::numbers::ln10;

/// Of the first rows the middle one.
double reference_of(std::span<const HeldRow> rows) {
    std::vector<double> first;
    for (std::size_t r = 0; r < std::min(rows.size(), reference_rows); ++r) first.push_back(rows[r].total_v);
    return median(first);
}

/// Blocks at which the output went away for good or for a while.
std::vector<std::size_t> losses_of(std::span<const double> levels, std::size_t least_blocks,
                                   std::size_t& returns) {
    const std::size_t first = std::min(levels.size(), reference_blocks);
    const double low = gone * median({levels.begin(), levels.begin() + static_cast<std::ptrdiff_t>(first)});
    std::vector<std::size_t> losses;
    std::size_t quiet = 0;
    for (std::size_t b = 0; b < levels.size(); ++b) {
        if (levels[b] >= low) {
            if (quiet >= least_blocks) ++returns;
            quiet = 0;
        } else if (++quiet == least_blocks) {
            losses.push_back(b + 1 - least_blocks);
        }
    }
    // A tail too short to be told from a gap is still the end of what was heard.
    if (quiet > 0 && quiet < least_blocks) losses.push_back(levels.size() - quiet);
    return losses;
}

double fall_db(double reference_v, const HeldRow& row) {
    return decibels(reference_v / row.total_v);
}

}  // namespace

std::optional<std::size_t> steady_from(std::span<const double> block_levels, double least) {
    for (std::size_t b = 0; b + steady_blocks <= block_levels.size(); ++b) {
        const auto part = block_levels.subspan(b, steady_blocks);
        const auto [low, high] = std::minmax_element(part.begin(), part.end());
        if (*low > least && *low >= (1.0 - steady_within) * *high) return b;
    }
    return std::nullopt;
}

std::optional<std::size_t> noise_from(std::span<const double> block_levels, double least) {
    for (std::size_t b = 0; b + reference_blocks <= block_levels.size(); ++b) {
        const auto part = block_levels.subspan(b, reference_blocks);
        const double floor = std::max(least, gone * median({part.begin(), part.end()}));
        const auto begins = part.first(steady_blocks);
        if (*std::min_element(begins.begin(), begins.end()) > floor) return b;
    }
    return std::nullopt;
}

HeldFall held_fall(std::span<const HeldRow> rows, const HeldBlocks& blocks, double at_minutes) {
    const double reference_v = reference_of(rows);
    const auto fall_at = [&](std::size_t r) { return fall_db(reference_v, rows[r]); };
    const auto noise_db = [&](const HeldRow& row) { return db_per_relative * row.doubt_v / row.total_v; };
    std::size_t last = 0;
    while (last + 1 < rows.size() && rows[last + 1].minutes <= at_minutes) ++last;
    HeldFall found;
    if (last > 0)
        found.db_per_minute =
            (fall_at(last) - fall_at(last - 1)) / (rows[last].minutes - rows[last - 1].minutes);
    // A block is half as long as what a row is read from. Row and blocks there carry the same noise: only
    // that of the end counts, and that of the first rows.
    const auto there_db = level_db_about(blocks, rows[last].minutes);
    const auto end = level_at_end(blocks, at_minutes, std::numbers::sqrt2 * noise_db(rows[last]));
    if (there_db && end) {
        found.fall_db = fall_at(last) + *there_db - end->level_db;
        found.doubt_db = std::hypot(end->doubt_db, noise_db(rows.front()));
        return found;
    }
    // A row stands for its middle: from the last one to the end the fall goes on as it did before it, half as
    // fast to half as fast again, taken as rectangular (JCGM 100, 4.3.7).
    const double beyond = found.db_per_minute * std::max(at_minutes - rows[last].minutes, 0.0);
    found.fall_db = fall_at(last) + beyond;
    found.doubt_db =
        std::hypot(noise_db(rows[last]), noise_db(rows.front()), 0.5 * beyond / std::numbers::sqrt3);
    return found;
}

std::optional<HeldOutcome> held_outcome(std::span<const HeldRow> rows, const HeldBlocks& blocks,
                                        const HeldOptions& options) {
    if (rows.empty() || blocks.levels.empty()) return std::nullopt;
    HeldOutcome outcome;
    const auto least_blocks = static_cast<std::size_t>(std::ceil(gone_s / blocks.block_s));
    const auto losses = losses_of(blocks.levels, least_blocks, outcome.returns);
    HeldEdge edge{static_cast<double>(losses.empty() ? blocks.levels.size() : losses.front()), false};
    if (blocks.even && !losses.empty()) edge = ended_within(blocks.rms_v, losses.front());
    const double heard_minutes = (blocks.first_s + edge.blocks * blocks.block_s) / 60.0;
    const bool whole = heard_minutes >= options.minutes - end_slack_s / 60.0;
    outcome.run_minutes = whole ? options.minutes : heard_minutes;
    outcome.resolution_minutes = (edge.sharp ? blocks.edge_s : blocks.block_s) / 60.0;
    const bool gone_for_good = !losses.empty() && losses.front() + least_blocks <= blocks.levels.size();
    if (!whole) outcome.ended_by = gone_for_good ? HeldEnd::cut_out : HeldEnd::recording_ended;

    const double reference_v = reference_of(rows);
    const auto fall_at = [&](std::size_t r) { return fall_db(reference_v, rows[r]); };
    for (std::size_t r = 1; r < rows.size() && rows[r].minutes <= outcome.run_minutes; ++r) {
        const bool next_too = r + 1 >= rows.size() || rows[r + 1].minutes > outcome.run_minutes ||
                              fall_at(r + 1) >= options.end_fall_db;
        if (fall_at(r) < options.end_fall_db || !next_too) continue;
        const double before = fall_at(r - 1);
        const double share = std::clamp((options.end_fall_db - before) / (fall_at(r) - before), 0.0, 1.0);
        const double apart_minutes = rows[r].minutes - rows[r - 1].minutes;
        outcome.ended_by = HeldEnd::fall;
        outcome.run_minutes = rows[r - 1].minutes + share * apart_minutes;
        outcome.resolution_minutes = std::max(
            apart_minutes * unevenness(blocks, rows[r - 1].minutes, rows[r].minutes), blocks.edge_s / 60.0);
        break;
    }
    const HeldFall fall = held_fall(rows, blocks, outcome.run_minutes);
    outcome.fall_db = outcome.ended_by == HeldEnd::fall ? options.end_fall_db : fall.fall_db;
    outcome.fall_doubt_db = fall.doubt_db;
    return outcome;
}

HeldSquare held_square(std::span<const HeldRow> rows, double end_minutes) {
    const auto square_of = [&](std::size_t r) { return rows[r].total_v * rows[r].total_v; };
    std::size_t last = 0;
    while (last + 1 < rows.size() && rows[last + 1].minutes <= end_minutes) ++last;
    if (last == 0 || !(end_minutes > rows.front().minutes)) return {square_of(0), 0.0, square_of(0)};
    double sum = 0.0;
    for (std::size_t r = 1; r <= last; ++r)
        sum += 0.5 * (square_of(r) + square_of(r - 1)) * (rows[r].minutes - rows[r - 1].minutes);
    // A row stands for its middle. What lies beyond it goes on as between its neighbours, half as fast to
    // half as fast again, taken as rectangular (JCGM 100, 4.3.7); where rows were left out, no longer than
    // one row goes.
    const auto change_over = [&](std::size_t edge, std::size_t next, double beyond_minutes) {
        const double apart = std::abs(rows[next].minutes - rows[edge].minutes);
        return (square_of(edge) - square_of(next)) * std::min(beyond_minutes / apart, 1.0);
    };
    const double head = rows.front().minutes;
    const double tail = end_minutes - rows[last].minutes;
    const double head_change = change_over(0, 1, head);
    const double tail_change = change_over(last, last - 1, tail);
    sum += (square_of(0) + 0.5 * head_change) * head + (square_of(last) + 0.5 * tail_change) * tail;
    HeldSquare found;
    found.mean = sum / end_minutes;
    found.doubt =
        0.25 / std::numbers::sqrt3 * std::hypot(head_change * head, tail_change * tail) / end_minutes;
    found.at_end = std::max(square_of(last) + tail_change, 0.0);
    return found;
}

}  // namespace assay::analysis
