#include "analysis/amplifier/held_edges.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/signal/median.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double window_s = 0.5;        // that a row of the log is read from
constexpr std::size_t end_blocks = 12;  // three seconds: a parabola follows what warms or sags over twenty
constexpr std::size_t fewest_blocks = 8;
constexpr double whole_share = 0.985;      // of the middle one: a lower block has a gap in it
constexpr double spared_s = 0.01;          // before the end: a player's own fade
const double hann_noise = std::sqrt(1.5);  // of a level through that window, re one without
constexpr double little = 0.02;            // of a whole block's mean square

double square_at(std::span<const double> rms_v, std::size_t block) {
    return rms_v[block] * rms_v[block];
}

/// Share of a whole block's mean square beyond what is there without the sine.
double share(double square, double without, double full) {
    return std::clamp((square - without) / std::max(full - without, 1e-300), 0.0, 1.0);
}

double level_in_db(double level) {
    return floored_decibels(level, 1e-300);
}

}  // namespace

double begun_before(std::span<const double> rms_v, std::size_t steady) {
    if (steady == 0 || steady + 1 >= rms_v.size()) return 0.0;
    const double without = steady >= 2 ? square_at(rms_v, steady - 2) : 0.0;
    const double full = square_at(rms_v, steady + 1);
    return share(square_at(rms_v, steady - 1), without, full) +
           share(square_at(rms_v, steady), without, full) - 1.0;
}

HeldEdge ended_within(std::span<const double> rms_v, std::size_t quiet) {
    if (quiet < 2 || quiet >= rms_v.size()) return {static_cast<double>(quiet), false};
    const double without = quiet + 1 < rms_v.size() ? square_at(rms_v, quiet + 1) : 0.0;
    const double full = square_at(rms_v, quiet - 2);
    const double before = share(square_at(rms_v, quiet - 1), without, full);
    const double after = share(square_at(rms_v, quiet), without, full);
    // Of two neighbours one is whole or empty, unless the end took its time.
    const bool sharp = (before > 1.0 - little || after < little) && without < little * full;
    return {static_cast<double>(quiet - 1) + before + after, sharp};
}

std::optional<double> level_db_about(const HeldBlocks& blocks, double minutes) {
    const double from = (60.0 * minutes - 0.5 * window_s - blocks.first_s) / blocks.block_s;
    const double to = from + window_s / blocks.block_s;
    const double first = std::floor(from + 1e-6);
    if (!blocks.even || first < 0.0 || to > static_cast<double>(blocks.smooth.size()) + 1e-6)
        return std::nullopt;
    double sum = 0.0;
    for (auto b = static_cast<std::size_t>(first); b < blocks.smooth.size(); ++b) {
        const auto begin = static_cast<double>(b);
        const double covered = std::min(to, begin + 1.0) - std::max(from, begin);
        if (covered <= 0.0) break;
        sum += covered * level_in_db(blocks.smooth[b]);
    }
    return sum / (to - from);
}

std::optional<EndLevel> level_at_end(const HeldBlocks& blocks, double end_minutes, double noise_db) {
    const double until = (60.0 * end_minutes - spared_s - blocks.first_s) / blocks.block_s;
    const auto end = static_cast<std::size_t>(
        std::clamp(std::floor(until), 0.0, static_cast<double>(blocks.smooth.size())));
    if (!blocks.even || end < end_blocks) return std::nullopt;
    const auto last = blocks.smooth.subspan(end - end_blocks, end_blocks);
    const double middle = median({last.begin(), last.end()});
    std::vector<std::size_t> kept;
    for (std::size_t b = end - end_blocks; b < end; ++b) {
        if (blocks.smooth[b] >= whole_share * middle && blocks.smooth[b] <= middle / whole_share)
            kept.push_back(b);
    }
    if (kept.size() < fewest_blocks) return std::nullopt;
    const auto count = static_cast<Eigen::Index>(kept.size());
    Eigen::MatrixXd shape(count, 3);
    Eigen::VectorXd level_db(count);
    for (Eigen::Index k = 0; k < count; ++k) {
        const std::size_t block = kept[static_cast<std::size_t>(k)];
        const double before_s = 60.0 * (blocks.centre_minutes(block) - end_minutes);
        shape.row(k) << 1.0, before_s, before_s * before_s;
        level_db[k] = level_in_db(blocks.smooth[block]);
    }
    const Eigen::MatrixXd inverse = (shape.transpose() * shape).inverse();
    const Eigen::VectorXd fitted = inverse * (shape.transpose() * level_db);
    const double scatter_db =
        std::sqrt((level_db - shape * fitted).squaredNorm() / static_cast<double>(count - 3));
    return EndLevel{fitted[0], std::max(scatter_db, hann_noise * noise_db) * std::sqrt(inverse(0, 0))};
}

double unevenness(const HeldBlocks& blocks, double from_minutes, double to_minutes) {
    const auto from_db = level_db_about(blocks, from_minutes);
    const auto to_db = level_db_about(blocks, to_minutes);
    if (!from_db || !to_db || !(*from_db > *to_db)) return 1.0;
    double furthest_db = 0.0;
    for (std::size_t b = 0; b < blocks.smooth.size(); ++b) {
        const double part = (blocks.centre_minutes(b) - from_minutes) / (to_minutes - from_minutes);
        if (part < 0.0 || part > 1.0) continue;
        const double line_db = *from_db + part * (*to_db - *from_db);
        furthest_db = std::max(furthest_db, std::abs(level_in_db(blocks.smooth[b]) - line_db));
    }
    return std::min(furthest_db / (*from_db - *to_db), 1.0);
}

}  // namespace assay::analysis
