// Where the steps do not rise: a level that is played again.
#include "analysis/amplifier/distortion_limit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <functional>
#include <numbers>
#include <vector>

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

// 0 % has no decibels.
TEST(DistortionLimit, WhatNoiseHidesIsNotADistanceToTheLimit) {
    const auto text = [](double thd) {
        const std::vector<StepReading> readings{step(-10.0, 9.0, 0.5 * thd), step(-8.0, 11.0, thd)};
        return std::get<Absent>(find_limit_crossing(readings, 0.01, DistortionKind::thd)).text;
    };
    EXPECT_EQ(text(0.0),
              "the loudest step (-8.0 dBFS) gave nothing that stands out of the noise, for a limit of 1 %");
    EXPECT_EQ(text(0.001), "the loudest step (-8.0 dBFS) gave 0.1 %, 20.0 dB below the limit of 1 %");
}

/// Part of the places within a step of 0.5 dB at which the limit is found to within twice its doubt.
double held_share(const std::function<StepReading(double)>& step_at, double limit) {
    double low = -1.0;
    double high = 6.0;
    while (high - low > 1e-12) {
        const double middle = 0.5 * (low + high);
        (step_at(middle).thd < limit ? low : high) = middle;
    }
    const double truth_v = step_at(low).total_v;
    constexpr int trials = 50;
    int held = 0;
    for (int k = 0; k < trials; ++k) {
        std::vector<StepReading> readings;
        for (int n = -6; n <= 6; ++n)
            readings.push_back(step_at(0.5 * (n + static_cast<double>(k) / trials)));
        const auto found = find_limit_crossing(readings, limit, DistortionKind::thd);
        const auto& crossing = std::get<LimitCrossing>(found);
        if (std::abs(crossing.total_v - truth_v) <= 2.0 * crossing.interpolation_doubt_v) ++held;
        EXPECT_LT(crossing.interpolation_doubt_v, 0.02 * truth_v);  // a quarter of a step and less
    }
    std::printf("limit %g: held %d of %d\n", limit, held, trials);
    return static_cast<double>(held) / trials;
}

// Rails that clip hard: a sine of peak a behind rails at 1 has, with phi = asin(1 / a), the fundamental
// 2/pi (a phi + cos phi) and the mean square a^2/pi (phi - sin phi cos phi) + 1 - 2 phi/pi (elementary
// integrals). Its distortion begins in the midst of a step, which no smooth curve follows: the doubt must.
TEST(DistortionLimit, RailsBetweenTwoStepsLieWithinTheDoubt) {
    const auto clipped = [](double level_dbfs) {
        const double a = std::pow(10.0, level_dbfs / 20.0);
        if (a <= 1.0) return step(level_dbfs, a / std::numbers::sqrt2, 1e-6);
        const double phi = std::asin(1.0 / a);
        const double fundamental = 2.0 / std::numbers::pi * (a * phi + std::cos(phi));
        const double square = a * a / std::numbers::pi * (phi - std::sin(phi) * std::cos(phi)) + 1.0 -
                              2.0 * phi / std::numbers::pi;
        const double harmonics = std::max(square - 0.5 * fundamental * fundamental, 0.0);
        return step(level_dbfs, std::sqrt(square), std::sqrt(2.0 * harmonics) / fundamental);
    };
    for (const double limit : {0.001, 0.01}) EXPECT_GE(held_share(clipped, limit), 0.9) << limit;
}

/// The same rails, their harmonics weighed by a high-pass filter (Butterworth) as in a power band's lowest
/// steps. Peak of the n-th harmonic, n odd, by elementary integrals: 4/pi (a/2 (sin((n-1) phi)/(n-1) -
/// sin((n+1) phi)/(n+1)) + cos(n phi)/n).
StepReading behind_high_pass(double level_dbfs, double corner_re_tone, int order) {
    const double a = std::pow(10.0, level_dbfs / 20.0);
    const double phi = a <= 1.0 ? 0.5 * std::numbers::pi : std::asin(1.0 / a);
    double fundamental = 0.0;
    double harmonics = 0.0;
    for (int n = 1; n < 400; n += 2) {
        const double slope = n == 1 ? phi - 0.5 * std::sin(2.0 * phi)
                                    : std::sin((n - 1) * phi) / (n - 1) - std::sin((n + 1) * phi) / (n + 1);
        const double peak = 4.0 / std::numbers::pi * (0.5 * a * slope + std::cos(n * phi) / n);
        const double square = 0.5 * peak * peak / (1.0 + std::pow(corner_re_tone / n, 2.0 * order));
        (n == 1 ? fundamental : harmonics) += square;
    }
    return step(level_dbfs, std::sqrt(fundamental + harmonics),
                std::max(std::sqrt(harmonics / fundamental), 1e-6));
}

TEST(DistortionLimit, RailsBehindAFilterLieWithinTheDoubt) {
    for (const int order : {1, 2}) {
        for (const double corner_re_tone : {1.0, 2.0, 4.0}) {
            const auto filtered = [=](double level_dbfs) {
                return behind_high_pass(level_dbfs, corner_re_tone, order);
            };
            EXPECT_GE(held_share(filtered, 0.01), 0.9) << order << ' ' << corner_re_tone;
        }
    }
}

}  // namespace
}  // namespace assay::analysis
