#include "cli/measures/steps/power_band_limit.h"

#include <gtest/gtest.h>

#include <cmath>

namespace assay::cli {
namespace {

/// Power behind a filter of first or second order (Butterworth), by the closed form 1 / (1 + (fc / f)^(2 n)):
/// half at fc.
std::vector<PowerPoint> high_passed(double corner_hz, int order, double points_an_octave) {
    std::vector<PowerPoint> points;
    for (int i = 0; i <= static_cast<int>(10.0 * points_an_octave); ++i) {
        // From 1 kHz downwards and upwards, so that 1 kHz itself is a point.
        const double octaves = (i - std::round(6.0 * points_an_octave)) / points_an_octave;
        const double hz = 1000.0 * std::exp2(octaves);
        points.push_back({hz, {100.0 / (1.0 + std::pow(corner_hz / hz, 2.0 * order)), "W", {}}});
    }
    return points;
}

/// Where that power is half of what it is at 1 kHz: first order takes some of it away there as well.
double half_power_hz(double corner_hz, int order) {
    const double at_1khz = 1.0 / (1.0 + std::pow(corner_hz / 1000.0, 2.0 * order));
    return corner_hz * std::pow(2.0 / at_1khz - 1.0, -0.5 / order);
}

TEST(PowerBandLimit, IsWhereThePowerIsHalf) {
    for (const int order : {1, 2}) {
        const auto limit = half_power_limit(high_passed(47.0, order, 24.0), 1000.0, true, "test:");
        ASSERT_TRUE(limit);
        const double exact = half_power_hz(47.0, order);
        EXPECT_NEAR(limit->value, exact, 2e-4 * exact) << order;
    }
}

TEST(PowerBandLimit, TruthLiesWithinItsDoubtOfPointsAnOctaveApart) {
    for (const int order : {1, 2}) {
        for (double corner_hz = 25.0; corner_hz < 80.0; corner_hz *= 1.03) {
            const auto limit = half_power_limit(high_passed(corner_hz, order, 1.0), 1000.0, true, "test:");
            ASSERT_TRUE(limit);
            const double exact = half_power_hz(corner_hz, order);
            EXPECT_LE(std::abs(limit->value - exact), limit->expanded_uncertainty())
                << order << ' ' << corner_hz;
        }
    }
}

}  // namespace
}  // namespace assay::cli
