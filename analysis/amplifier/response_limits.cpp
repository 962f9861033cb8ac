#include "analysis/amplifier/response_limits.h"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace assay::analysis {

namespace {

std::optional<ResponseLimit> limit(std::span<const double> frequency_hz, std::span<const double> magnitude_db,
                                   double reference_hz, double down_db, int direction) {
    const double level_db = curve_value(frequency_hz, magnitude_db, reference_hz) - down_db;
    const auto count = static_cast<std::ptrdiff_t>(frequency_hz.size());
    const auto start =
        std::lower_bound(frequency_hz.begin(), frequency_hz.end(), reference_hz) - frequency_hz.begin();
    for (std::ptrdiff_t i = std::min(start, count - 1); i >= 0 && i < count; i += direction) {
        const std::ptrdiff_t before = i - direction;
        const auto at = static_cast<std::size_t>(i);
        if (magnitude_db[at] > level_db || before < 0 || before >= count) continue;
        const auto inner = static_cast<std::size_t>(before);
        const double fall_db = magnitude_db[inner] - magnitude_db[at];
        const double octaves = std::log2(frequency_hz[at] / frequency_hz[inner]);
        const double part = fall_db > 0.0 ? (magnitude_db[inner] - level_db) / fall_db : 0.0;
        return ResponseLimit{frequency_hz[inner] * std::exp2(part * octaves), fall_db / std::abs(octaves),
                             frequency_hz[inner], frequency_hz[at], magnitude_db[inner] - level_db};
    }
    return std::nullopt;
}

}  // namespace

std::optional<ResponseLimit> lower_limit(std::span<const double> frequency_hz,
                                         std::span<const double> magnitude_db, double reference_hz,
                                         double down_db) {
    return limit(frequency_hz, magnitude_db, reference_hz, down_db, -1);
}

std::optional<ResponseLimit> upper_limit(std::span<const double> frequency_hz,
                                         std::span<const double> magnitude_db, double reference_hz,
                                         double down_db) {
    return limit(frequency_hz, magnitude_db, reference_hz, down_db, 1);
}

ResponseLimit refined(ResponseLimit limit, const std::function<double(double)>& magnitude_db_at) {
    const double level_db = magnitude_db_at(limit.inner_hz) - limit.inner_above_db;
    double above_hz = limit.inner_hz;
    double below_hz = limit.outer_hz;
    double above_db = limit.inner_above_db;
    double below_db = magnitude_db_at(limit.outer_hz) - level_db;
    // Straight lines again, each between closer neighbours: the error falls with the square of the distance.
    for (int step = 0; step < 6 && above_db > 0.0 && below_db < 0.0; ++step) {
        const double part = above_db / (above_db - below_db);
        limit.frequency_hz = above_hz * std::pow(below_hz / above_hz, part);
        const double off_db = magnitude_db_at(limit.frequency_hz) - level_db;
        if (std::abs(off_db) < 1e-7) break;
        (off_db > 0.0 ? above_hz : below_hz) = limit.frequency_hz;
        (off_db > 0.0 ? above_db : below_db) = off_db;
    }
    return limit;
}

double curve_value(std::span<const double> frequency_hz, std::span<const double> values, double at_hz) {
    const auto next = std::lower_bound(frequency_hz.begin(), frequency_hz.end(), at_hz);
    if (next == frequency_hz.begin()) return values.front();
    if (next == frequency_hz.end()) return values.back();
    const auto i = static_cast<std::size_t>(next - frequency_hz.begin());
    const double part =
        std::log(at_hz / frequency_hz[i - 1]) / std::log(frequency_hz[i] / frequency_hz[i - 1]);
    return values[i - 1] + part * (values[i] - values[i - 1]);
}

double remove_delay(std::span<const double> frequency_hz, std::span<double> phase_deg, double reference_hz) {
    constexpr double turn_deg = 360.0;
    for (std::size_t i = 1; i < phase_deg.size(); ++i)
        phase_deg[i] -= turn_deg * std::round((phase_deg[i] - phase_deg[i - 1]) / turn_deg);
    // A line with an offset: what is left of the offset beyond half turns belongs to the unit.
    const auto count = static_cast<double>(phase_deg.size());
    double mean_hz = 0.0;
    double mean_deg = 0.0;
    for (std::size_t i = 0; i < phase_deg.size(); ++i) {
        mean_hz += frequency_hz[i] / count;
        mean_deg += phase_deg[i] / count;
    }
    double above = 0.0;
    double below = 0.0;
    for (std::size_t i = 0; i < phase_deg.size(); ++i) {
        above += (frequency_hz[i] - mean_hz) * (phase_deg[i] - mean_deg);
        below += (frequency_hz[i] - mean_hz) * (frequency_hz[i] - mean_hz);
    }
    const double slope = below > 0.0 ? above / below : 0.0;
    for (std::size_t i = 0; i < phase_deg.size(); ++i) phase_deg[i] -= slope * frequency_hz[i];
    const double offset =
        0.5 * turn_deg * std::round(curve_value(frequency_hz, phase_deg, reference_hz) / (0.5 * turn_deg));
    for (double& phase : phase_deg) phase -= offset;
    return -slope / turn_deg;
}

}  // namespace assay::analysis
