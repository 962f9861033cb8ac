#include "cli/measures/steps/power_band_limit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/response_limits.h"
#include "analysis/signal/monotone_curve.h"
#include "analysis/units.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::Quantity;

// Half to the last digit: 3 dB are 0.0103 dB less, which puts a limit that falls slowly off by more than its
// doubt.
constexpr double half_power_db = 10.0 * std::numbers::ln2 / std::numbers::ln10;
// Share of the distance between smooth curve and straight lines, k = 1. A filter's limit lies within about
// half of the distance, on either side of the smooth curve. That of a sharp corner may lie by all of it on
// the other side: a slew rate's upwards, a transformer core's downwards. Rectangular (JCGM 100, 4.3.7).
constexpr double share_of_distance = 1.0 / std::numbers::sqrt3;
constexpr double db_per_part = 10.0 / std::numbers::ln10;

/// What the powers at the limit and in the middle do not share, as a shift of the limit. Noise, and what the
/// steps leave open, have one name in both rows and are not the same there: they neither cancel nor add.
void add_power_doubts(const Quantity& there, const Quantity& middle, const std::string& source,
                      double db_per_hz, Quantity& limit_hz) {
    const Quantity ratio = analysis::combine(
        0.0, "dB", {{&there, db_per_part / there.value}, {&middle, -db_per_part / middle.value}});
    const std::array<std::string, 2> of_each_row{source + "noise", source + "interpolation"};
    for (const std::string& name : of_each_row) {
        double db = 0.0;
        for (const Quantity* power : {&there, &middle}) {
            const auto part = power->contributions.find(name);
            if (part != power->contributions.end())
                db = std::hypot(db, db_per_part * part->second / power->value);
        }
        add_doubt(limit_hz, name, db / db_per_hz);
    }
    for (const auto& [name, db] : ratio.contributions) {
        if (std::ranges::find(of_each_row, name) == of_each_row.end() && std::abs(db) > 1e-9)
            limit_hz.contributions[name] += db / db_per_hz;
    }
}

}  // namespace

std::optional<Quantity> half_power_limit(const std::vector<PowerPoint>& points, double middle_hz, bool lower,
                                         const std::string& source) {
    std::vector<double> frequency_hz;
    std::vector<double> octaves;
    std::vector<double> power_db;
    for (const PowerPoint& point : points) {
        frequency_hz.push_back(point.frequency_hz);
        octaves.push_back(std::log2(point.frequency_hz));
        power_db.push_back(analysis::power_decibels(point.power.value));
    }
    const auto straight = lower ? analysis::lower_limit(frequency_hz, power_db, middle_hz, half_power_db)
                                : analysis::upper_limit(frequency_hz, power_db, middle_hz, half_power_db);
    if (!straight) return std::nullopt;
    const analysis::MonotoneCurve curve(octaves, power_db);
    const auto smooth = analysis::refined(*straight, [&](double hz) { return curve.at(std::log2(hz)); });
    Quantity limit_hz{smooth.frequency_hz, "Hz", {}};
    add_doubt(limit_hz, source + "curve",
              share_of_distance * std::abs(smooth.frequency_hz - straight->frequency_hz));
    const double db_per_hz = straight->db_per_octave / (smooth.frequency_hz * std::numbers::ln2);
    const auto point_at = [&](double hz) { return std::ranges::find(points, hz, &PowerPoint::frequency_hz); };
    if (db_per_hz > 0.0)
        add_power_doubts(point_at(straight->outer_hz)->power, point_at(middle_hz)->power, source, db_per_hz,
                         limit_hz);
    return limit_hz;
}

}  // namespace assay::cli
