// Steps whose harmonics lie beyond the band: nothing but the gain tells of the limit.
#include "analysis/amplifier/gain_fall.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

namespace assay::analysis {
namespace {

/// Rails at 1 in front of a band that ends below the third harmonic: the fundamental of a clipped sine,
/// 2/pi (a phi + cos phi) with phi = asin(1 / a) (elementary integral), and no distortion to be seen.
StepReading clipped(double level_dbfs, double rail_dbfs) {
    const double a = std::pow(10.0, (level_dbfs - rail_dbfs) / 20.0);
    const double phi = a > 1.0 ? std::asin(1.0 / a) : 0.5 * std::numbers::pi;
    const double peak = a > 1.0 ? 2.0 / std::numbers::pi * (a * phi + std::cos(phi)) : a;
    StepReading reading;
    reading.level_dbfs = level_dbfs;
    reading.total_v = reading.fundamental_v = peak * std::pow(10.0, rail_dbfs / 20.0) / std::numbers::sqrt2;
    reading.fundamental_doubt_v = 1e-6;
    return reading;
}

std::vector<StepReading> row_of(double rail_dbfs) {
    std::vector<StepReading> readings;
    for (int n = 0; n <= 30; ++n) readings.push_back(clipped(-18.0 + 0.5 * n, rail_dbfs));
    return readings;
}

// Most of the row is clipped, as where a slew rate limits: the gain is still that of the faint steps.
TEST(GainFall, ARowThatIsMostlyClippedKeepsItsSmallSignalGain) {
    for (const double rail_dbfs : {-4.0, -8.0, -13.0}) {
        const auto found = find_gain_fall(row_of(rail_dbfs), 0.1);
        ASSERT_TRUE(std::holds_alternative<LimitCrossing>(found)) << rail_dbfs;
        double low = rail_dbfs;
        double high = rail_dbfs + 3.0;
        const auto fall = [&](double level) {
            return level - 20.0 * std::log10(std::numbers::sqrt2 * clipped(level, rail_dbfs).total_v);
        };
        while (high - low > 1e-12) (fall(0.5 * (low + high)) < 0.1 ? low : high) = 0.5 * (low + high);
        const auto& crossing = std::get<LimitCrossing>(found);
        const double truth_v = clipped(low, rail_dbfs).total_v;
        EXPECT_NEAR(crossing.total_v, truth_v, 2.0 * crossing.interpolation_doubt_v) << rail_dbfs;
        EXPECT_NEAR(crossing.total_v, truth_v, 0.01 * truth_v) << rail_dbfs;
    }
}

// Limited below the row, or just above its foot: the gain before that is not known, and no power is told.
TEST(GainFall, ARowThatBeginsAboveItsLimitGivesNone) {
    for (const double rail_dbfs : {-16.5, -18.0, -24.0}) {
        const auto found = find_gain_fall(row_of(rail_dbfs), 0.1);
        ASSERT_TRUE(std::holds_alternative<Absent>(found)) << rail_dbfs;
        EXPECT_EQ(std::get<Absent>(found).code, "limited-from-the-start");
    }
}

}  // namespace
}  // namespace assay::analysis
