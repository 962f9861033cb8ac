// A line that moves, in noise: sines whose frequency is a given function of time (phase by its integral,
// closed form), RMS amplitude over the root of two.
#include "analysis/signal/line_track.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <random>

#include "analysis/amplifier/noise.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

constexpr double track_rate_hz = 48000.0;
constexpr double track_seconds = 12.0;

std::vector<double> noise(double sigma, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal(0.0, sigma);
    std::vector<double> volts(static_cast<std::size_t>(track_seconds * track_rate_hz));
    for (double& value : volts) value = normal(random);
    return volts;
}

/// Frequency middle + swing sin(2 pi s / period): its phase is the integral.
void add_whine(std::vector<double>& volts, double amplitude, double middle_hz, double swing_hz,
               double period_s, double until_s = 1e9) {
    for (std::size_t n = 0; n < volts.size(); ++n) {
        const double s = static_cast<double>(n) / track_rate_hz;
        if (s > until_s) break;
        const double turns =
            middle_hz * s + swing_hz * period_s / two_pi * (1.0 - std::cos(two_pi * s / period_s));
        volts[n] += amplitude * std::sin(two_pi * turns);
    }
}

std::optional<MovingLine> track(const std::vector<double>& volts) {
    LineTracker tracker(track_rate_hz);
    const std::span<const double> all(volts);
    for (std::size_t first = 0; first < all.size(); first += 3001)
        tracker.feed(all.subspan(first, std::min<std::size_t>(3001, all.size() - first)));
    return tracker.finish();
}

TEST(LineTracker, AWhineThatFollowsAnEngine) {
    for (const auto& [middle_hz, swing_hz, period_s] :
         {std::array{1500.0, 600.0, 9.0}, std::array{420.0, 60.0, 6.0}, std::array{9000.0, 800.0, 7.0}}) {
        auto volts = noise(1e-3, 3);
        add_whine(volts, 1e-3, middle_hz, swing_hz, period_s);
        const auto line = track(volts);
        ASSERT_TRUE(line.has_value()) << middle_hz;
        EXPECT_NEAR(line->lowest_hz, middle_hz - swing_hz, 16.0);
        EXPECT_NEAR(line->highest_hz, middle_hz + swing_hz, 16.0);
        EXPECT_NEAR(20.0 * std::log10(line->volts / (1e-3 / std::numbers::sqrt2)), 0.0, 0.6);
        std::printf("%.0f Hz: %.0f to %.0f Hz, %+.2f dB, heard %.0f %% of the time\n", middle_hz,
                    line->lowest_hz, line->highest_hz,
                    20.0 * std::log10(line->volts / (1e-3 / std::numbers::sqrt2)), 100.0 * line->share);
    }
}

TEST(LineTracker, AmongHumAndAWhistleThatStand) {
    auto volts = noise(1e-3, 4);
    for (int order = 1; order <= 10; ++order) add_whine(volts, 4e-3 / order, 50.0 * order, 0.0, 1.0);
    add_whine(volts, 5e-3, 15625.0, 0.0, 1.0);
    EXPECT_FALSE(track(volts).has_value());
    add_whine(volts, 1e-3, 2200.0, 500.0, 8.0);
    const auto line = track(volts);
    ASSERT_TRUE(line.has_value());
    EXPECT_NEAR(line->lowest_hz, 1700.0, 16.0);
    EXPECT_NEAR(line->highest_hz, 2700.0, 16.0);
}

TEST(LineTracker, NoLineInNoiseAlone) {
    for (unsigned seed = 10; seed < 20; ++seed) EXPECT_FALSE(track(noise(1.0, seed)).has_value()) << seed;
}

TEST(LineTracker, TooFaintOrTooShortIsNotToldAsOne) {
    auto faint = noise(1e-3, 5);
    add_whine(faint, 2e-5, 1500.0, 600.0, 9.0);
    EXPECT_FALSE(track(faint).has_value());
    auto brief = noise(1e-3, 6);
    add_whine(brief, 1e-3, 1500.0, 600.0, 9.0, 3.0);
    EXPECT_FALSE(track(brief).has_value());
}

TEST(Noise, SilenceHoldsNoLine) {
    const NoiseReading reading = read_noise(std::vector<double>(6 * 48000, 0.0), 48000.0, 0.0);
    EXPECT_EQ(reading.band.volts, 0.0);
    EXPECT_FALSE(reading.whistle);
    EXPECT_FALSE(reading.mains_hz);
    EXPECT_FALSE(reading.whine);
}

TEST(LineTracker, SilenceAndOneFrameAreNoFault) {
    EXPECT_FALSE(track(std::vector<double>(48000, 0.0)).has_value());
    EXPECT_FALSE(track({}).has_value());
    EXPECT_FALSE(track(std::vector<double>(6000, 1.0)).has_value());
}

}  // namespace
}  // namespace assay::analysis
