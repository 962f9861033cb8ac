// Where the steps do not rise: a level that is played again.
#include "analysis/amplifier/distortion_limit.h"

#include <gtest/gtest.h>

#include <cmath>

namespace assay::analysis {
namespace {

StepReading step(double level_dbfs, double total_v, double thd) {
    StepReading reading;
    reading.level_dbfs = level_dbfs;
    reading.total_v = reading.fundamental_v = total_v;
    reading.fundamental_doubt_v = 1e-3;
    reading.thd = thd;
    reading.thd_noise = 1e-5;
    return reading;
}

TEST(DistortionLimit, BetweenTwoStepsOfOneLevelLiesTheirMean) {
    for (const bool more : {false, true}) {
        std::vector<StepReading> readings{step(-10.0, 9.9, 0.0098), step(-10.0, 10.1, 0.0103)};
        if (more) readings.insert(readings.begin(), step(-12.0, 8.0, 0.001));
        const auto found = find_limit_crossing(readings, 0.01, DistortionKind::thd);
        ASSERT_TRUE(std::holds_alternative<LimitCrossing>(found));
        const auto& crossing = std::get<LimitCrossing>(found);
        EXPECT_DOUBLE_EQ(crossing.drive_dbfs, -10.0);
        EXPECT_DOUBLE_EQ(crossing.total_v, 10.0);
        EXPECT_NEAR(crossing.interpolation_doubt_v, 0.1 / std::sqrt(3.0), 1e-12);  // a rectangle of 0.2 V
        EXPECT_EQ(crossing.above, readings.size() - 1);
        EXPECT_TRUE(std::isfinite(crossing.volts_per_distortion));
    }
}

}  // namespace
}  // namespace assay::analysis
