#include "cli/measures/steps/power_band_limit.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

namespace assay::cli {
namespace {

/// Watts from 1 kHz downwards and upwards, so that 1 kHz itself is a point.
std::vector<PowerPoint> measured(const std::function<double(double)>& watts, double points_an_octave) {
    std::vector<PowerPoint> points;
    for (int i = 0; i <= static_cast<int>(10.0 * points_an_octave); ++i) {
        const double octaves = (i - std::round(6.0 * points_an_octave)) / points_an_octave;
        const double hz = 1000.0 * std::exp2(octaves);
        points.push_back({hz, {watts(hz), "W", {}}});
    }
    return points;
}

/// Power behind a filter of first or second order (Butterworth), by the closed form 1 / (1 + (fc / f)^(2 n)):
/// half at fc.
std::vector<PowerPoint> high_passed(double corner_hz, int order, double points_an_octave) {
    return measured([&](double hz) { return 100.0 / (1.0 + std::pow(corner_hz / hz, 2.0 * order)); },
                    points_an_octave);
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

/// What a core bears is the integral of the voltage (Faraday), so that below a corner the volts fall with the
/// frequency: half the power at its 0.707.
TEST(PowerBandLimit, TruthLiesWithinItsDoubtBelowTheCornerOfACore) {
    for (double corner_hz = 35.0; corner_hz < 110.0; corner_hz *= 1.03) {
        const auto watts = [corner_hz](double hz) {
            return 100.0 * std::pow(std::min(1.0, hz / corner_hz), 2.0);
        };
        const auto limit = half_power_limit(measured(watts, 1.0), 1000.0, true, "test:");
        ASSERT_TRUE(limit);
        EXPECT_LE(std::abs(limit->value - corner_hz / std::sqrt(2.0)), limit->expanded_uncertainty())
            << corner_hz;
    }
}

}  // namespace
}  // namespace assay::cli
