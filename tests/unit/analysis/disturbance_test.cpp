// A jump in one of two tones: found wherever it lies, and not where there is only distortion and noise. The
// signals are sums of sines, so that the place and size of a jump are what the test put in.
#include "analysis/amplifier/disturbance.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

namespace assay::analysis {
namespace {

constexpr double disturbed_rate_hz = 48000.0;
constexpr double low_hz = 60.0;
constexpr double high_hz = 7000.0;

/// Two tones 4 to 1 through a curved law (30 % of second order), with noise 60 dB below.
double at(double n) {
    const double turn = 2.0 * std::numbers::pi * n / disturbed_rate_hz;
    const double x = 0.8 * std::sin(turn * low_hz) + 0.2 * std::sin(turn * high_hz + 1.0);
    return x + 0.3 * x * x;
}

std::vector<double> pair(std::size_t lost_at, double lost_frames, std::size_t back_at) {
    std::mt19937 random(7);
    std::normal_distribution<double> noise(0.0, 1e-3);
    std::vector<double> volts(48000);
    for (std::size_t n = 0; n < volts.size(); ++n) {
        const bool moved = n >= lost_at && n < back_at;
        volts[n] = at(static_cast<double>(n) + (moved ? lost_frames : 0.0)) + noise(random);
    }
    return volts;
}

bool found(const std::vector<double>& volts, double tone_hz) {
    return disturbance_of_line(volts, disturbed_rate_hz, tone_hz, low_hz).found;
}

TEST(DisturbanceOfLine, DistortionAndNoiseAreNone) {
    const auto volts = pair(0, 0.0, 0);
    EXPECT_FALSE(found(volts, low_hz));
    EXPECT_FALSE(found(volts, high_hz));
    EXPECT_FALSE(found(volts, high_hz * (1.0 + 100e-6))) << "a clock that is off tilts the phase evenly";
}

TEST(DisturbanceOfLine, ABlockLostAndGivenBackIsFoundWhereItLies) {
    for (const double frames : {1.0, 64.0, -256.0, 1024.0}) {
        SCOPED_TRACE(frames);
        const auto volts = pair(20000, frames, 36000);
        const auto jump = disturbance_of_line(volts, disturbed_rate_hz, high_hz, low_hz);
        ASSERT_TRUE(jump.found);
        EXPECT_NEAR(jump.at_s, 20000.0 / disturbed_rate_hz, 2.0 * 4.0 / low_hz);
    }
}

TEST(DisturbanceOfLine, WholeCyclesOfTheUpperToneShowInTheLower) {
    const auto volts = pair(20000, 48.0, 36000);  // seven cycles of 7 kHz, 21.6 degrees of 60 Hz
    EXPECT_FALSE(found(volts, high_hz));
    EXPECT_TRUE(found(volts, low_hz));
}

TEST(Disturbance, AGainThatJumpsIsTheLevelAndAGapIsNot) {
    std::vector<double> volts(48000);
    const auto fill = [&](auto gain) {
        for (std::size_t n = 0; n < volts.size(); ++n)
            volts[n] = gain(n) *
                       std::sin(2.0 * std::numbers::pi * 997.0 * static_cast<double>(n) / disturbed_rate_hz);
    };
    auto jump = Disturbance{};
    for (const std::size_t at : {600UL, 20000UL, 47300UL}) {  // near an end of the record, too
        SCOPED_TRACE(at);
        fill([at](std::size_t n) { return n < at ? 1.0 : 0.75; });
        jump = disturbance_within(volts, disturbed_rate_hz, 997.0);
        EXPECT_TRUE(jump.found && jump.level);
    }
    fill([](std::size_t n) { return n < 20000 || n > 20400 ? 1.0 : 0.0; });
    jump = disturbance_within(volts, disturbed_rate_hz, 997.0);
    EXPECT_TRUE(jump.found && !jump.level);
}

TEST(DisturbanceOfLine, AShortRecordTellsNothing) {
    EXPECT_FALSE(disturbance_of_line(std::vector<double>(100), disturbed_rate_hz, high_hz, low_hz).found);
    EXPECT_FALSE(disturbance_of_line({}, disturbed_rate_hz, high_hz, low_hz).found);
}

}  // namespace
}  // namespace assay::analysis
