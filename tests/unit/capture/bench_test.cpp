#include "capture/bench.h"

#include <gtest/gtest.h>

namespace assay::capture {
namespace {

TEST(Bench, TheLimitOfAnOutput) {
    // 20 lg(1.5 / 2.1) = -2.922560714 dB, by hand.
    EXPECT_NEAR((Output{.name = "drive", .volts_at_full_scale = 2.1, .maximum_volts = 1.5}.limit_dbfs()),
                -2.922560714, 1e-9);
    EXPECT_EQ((Output{.name = "drive", .volts_at_full_scale = 2.1, .maximum_volts = 3.0}.limit_dbfs()), 0.0)
        << "nothing plays above full scale";
    EXPECT_EQ((Output{.name = "drive", .maximum_dbfs = -12.0}.limit_dbfs()), -12.0);
    EXPECT_EQ((Output{.name = "drive", .volts_at_full_scale = 2.1, .maximum_dbfs = -12.0}.limit_dbfs()),
              -12.0);
    EXPECT_EQ(
        (Output{.name = "drive", .volts_at_full_scale = 2.1, .maximum_volts = 1.5, .maximum_dbfs = -12.0}
             .limit_dbfs()),
        -12.0)
        << "of two limits the lower counts";
    EXPECT_EQ(Output{.name = "drive"}.limit_dbfs(), -1.0);
}

TEST(Bench, VoltsForASampleValue) {
    EXPECT_DOUBLE_EQ(
        (Input{.name = "probe-a", .volts_at_full_scale = 1.95, .attenuation = 12.0}.volts_per_unit()), 23.4);
    EXPECT_DOUBLE_EQ(
        (Input{.name = "probe-a", .volts_at_full_scale = 1.95, .attenuation = 12.0, .inverted = true}
             .volts_per_unit()),
        -23.4);
}

// GUM (JCGM 100:2008) 4.3.7: limits ±a without more knowledge are a standard uncertainty of a/√3. At 10 V,
// 0.8 % and three places of 10 mV are ±0.11 V, which is 0.0635085 V.
TEST(Bench, AMetersLimitsAreRectangular) {
    const Meter meter{.name = "bench-meter", .accuracy_percent = 0.8, .digits = 3.0, .resolution_v = 0.01};
    EXPECT_NEAR(meter.relative_standard_uncertainty(10.0), 0.00635085, 1e-8);
    EXPECT_NEAR(meter.relative_standard_uncertainty(1.0), 0.02193931, 1e-8);  // ±0.038 V at 1 V
    EXPECT_EQ(meter.relative_standard_uncertainty(-10.0), meter.relative_standard_uncertainty(10.0));
}

TEST(Bench, ALoadBetweenTwoInputsIsBridged) {
    EXPECT_FALSE((Load{.name = "load-a", .plus = 0}.bridged()));
    EXPECT_TRUE((Load{.name = "load-a", .plus = 0, .minus = 1}.bridged()));
}

}  // namespace
}  // namespace assay::capture
