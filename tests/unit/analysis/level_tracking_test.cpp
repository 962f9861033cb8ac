// Crossover distortion is told from the harmonics of rising levels. Their closed forms: a dead zone of half
// width d takes a square wave of height d away (Fourier series: 4/pi, alternating, over n), a loop that
// integrates leaves its derivative (all odd harmonics of one height, turned by 90 degrees), a cubic gives a
// third alone.
#include "analysis/amplifier/level_tracking.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <vector>

namespace assay::analysis {
namespace {

using Harmonic = std::function<std::complex<double>(int order, double peak_v)>;

std::vector<StepReading> levels(const Harmonic& harmonic) {
    std::vector<StepReading> readings;
    for (double level_dbfs = -40.0; level_dbfs <= -4.0; level_dbfs += 2.0) {
        const double peak_v = 30.0 * std::pow(10.0, level_dbfs / 20.0);
        StepReading reading;
        reading.level_dbfs = level_dbfs;
        reading.fundamental_v = peak_v / std::numbers::sqrt2;
        reading.fundamental_doubt_v = 1e-6;
        reading.harmonics.emplace_back(1.0, 0.0);
        double square = 0.0;
        for (int order = 2; order <= 20; ++order) {
            reading.harmonics.push_back(harmonic(order, peak_v));
            square += std::norm(reading.harmonics.back());
        }
        reading.thd = std::sqrt(square);
        reading.thd_noise = 1e-6;
        readings.push_back(reading);
    }
    return readings;
}

double alternating(int order) {
    return order % 4 == 1 ? -1.0 : 1.0;  // 3rd up, 5th down, 7th up
}

std::complex<double> dead_zone(int order, double peak_v) {
    constexpr double half_width_v = 2e-3;
    if (order % 2 == 0) return {};
    return {alternating(order) * 4.0 * half_width_v / (std::numbers::pi * order * peak_v), 0.0};
}

/// The third of the spikes turned by so many degrees from the dead zone's own.
Harmonic spikes(double degrees) {
    return [=](int order, double peak_v) -> std::complex<double> {
        if (order % 2 == 0) return {};
        return alternating(order) * std::polar(2.5e-4 / peak_v, degrees * std::numbers::pi / 180.0);
    };
}

// A step that the dead zone swallowed whole: what noise alone makes of its harmonics is taken off, and none
// is left.
TEST(CrossoverDistortion, IsToldWhereTheFaintestStepIsLostInNoise) {
    std::vector<StepReading> readings = levels(dead_zone);
    readings.front().fundamental_v = 1e-6;
    readings.front().fundamental_doubt_v = 1e-6;
    readings.front().thd = 0.0;
    readings.front().thd_noise = 1.0;
    EXPECT_TRUE(crossover_distortion(readings));
}

TEST(CrossoverDistortion, IsToldOfADeadZoneWithAndWithoutFeedback) {
    EXPECT_TRUE(crossover_distortion(levels(dead_zone)));
    for (const double degrees : {89.0, 91.0, 100.0, -91.0})
        EXPECT_TRUE(crossover_distortion(levels(spikes(degrees)))) << degrees;
}

TEST(CrossoverDistortion, IsNotToldOfWhatRisesInAnotherWay) {
    // Spikes of clipping's own sign.
    EXPECT_FALSE(crossover_distortion(levels(spikes(180.0))));
    // A third alone at 90 degrees: a bent transformer or capacitor, with no spikes at the crossings.
    const auto third = [](int order, double peak_v) {
        return order == 3 ? std::complex<double>{-1e-5, 1e-3 / peak_v} : std::complex<double>{};
    };
    EXPECT_FALSE(crossover_distortion(levels(third)));
    // Even harmonics as strong: one half works alone.
    const auto even = [](int order, double peak_v) {
        return order <= 5 ? std::complex<double>{0.0, 3e-4 / peak_v} : std::complex<double>{};
    };
    EXPECT_FALSE(crossover_distortion(levels(even)));
    // A dead zone that costs less than 0.05 % at the faintest step is nobody's fault.
    const auto small = [](int order, double peak_v) { return 0.1 * dead_zone(order, peak_v); };
    EXPECT_FALSE(crossover_distortion(levels(small)));
}

// A knob turned between two steps shifts all before it by one amount (20 log10 of the gain); a leveller of
// ratio 2 lifts each by half of what it lies below the loudest.
TEST(LevelsDoNotTrack, AGainThatMovedIsToldFromOneThatFollows) {
    const auto clean = [](int, double) { return std::complex<double>{}; };
    std::vector<StepReading> knob = levels(clean);
    std::vector<StepReading> leveller = knob;
    for (std::size_t k = 0; k < knob.size(); ++k) {
        if (k < 4) knob[k].fundamental_v *= std::pow(10.0, 3.0 / 20.0);
        leveller[k].fundamental_v *= std::pow(10.0, 0.5 * (-4.0 - leveller[k].level_dbfs) / 20.0);
    }
    const auto moved = levels_do_not_track(knob, 0.0);
    ASSERT_TRUE(moved);
    EXPECT_NE(moved->text.find("+3.0 dB"), std::string::npos) << moved->text;
    EXPECT_NE(moved->text.find("a hand on the knob"), std::string::npos) << moved->text;
    EXPECT_NE(moved->advice.find("leave the gain control alone"), std::string::npos) << moved->advice;
    const auto followed = levels_do_not_track(leveller, 0.0);
    ASSERT_TRUE(followed);
    EXPECT_EQ(followed->text.find("a hand on the knob"), std::string::npos) << followed->text;
    EXPECT_FALSE(levels_do_not_track(levels(clean), 0.0));
}

}  // namespace
}  // namespace assay::analysis
