// A supply by meter, loops and repeats: against closed forms.
#include "analysis/amplifier/supply_log.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "analysis/amplifier/loop_seams.h"
#include "analysis/signal/repeat_lag.h"

namespace assay::analysis {
namespace {

// Volts and amperes along straight lines from 0 to 60 minutes: the integral of (13 - m / 60)(5 + m / 30) is
// [65 m + (13 / 30 - 5 / 60) m^2 / 2 - m^3 / 5400] at 60 = 3900 + 630 - 40.
std::vector<SupplyReading> hour(double step) {
    std::vector<SupplyReading> readings;
    for (double m = 0.0; m <= 60.0; m += step) readings.push_back({m, 13.0 - m / 60.0, 5.0 + m / 30.0});
    return readings;
}

TEST(SupplyLog, EnergyIsTheIntegralAndItsDoubtCoversWhatTheLinesMiss) {
    const double truth_wh = (3900.0 + 630.0 - 40.0) / 60.0;
    for (const double step : {5.0, 10.0, 30.0}) {
        const auto readings = hour(step);
        const auto totals = supply_totals(readings, 60.0, {});
        ASSERT_TRUE(totals);
        const double error = totals->energy_wh.value - truth_wh;
        // The trapezoidal rule's error on a parabola: -(b - a) h^2 f'' / 12, f'' = -1 / 900.
        EXPECT_NEAR(error, -60.0 * step * step / 900.0 / 12.0 / 60.0, 1e-9);
        EXPECT_LE(std::abs(error), std::sqrt(3.0) * totals->energy_wh.standard_uncertainty() * (1.0 + 1e-9));
        EXPECT_NEAR(totals->charge_ah.value, 6.0, 1e-12);
        EXPECT_DOUBLE_EQ(totals->covered, 1.0);
    }
}

TEST(SupplyLog, DoubtsOfTheMetersAreTheirs) {
    const auto totals =
        supply_totals(hour(5.0), 60.0, {.volts_v = 0.0, .amperes_part = 0.02, .source = "t:"});
    EXPECT_NEAR(totals->charge_ah.contributions.at("supply:current"), 0.12, 1e-12);
    EXPECT_NEAR(totals->energy_wh.contributions.at("supply:current"), 0.02 * totals->energy_wh.value, 1e-12);
}

TEST(SupplyLog, EndsBetweenReadings) {
    // Up to 33 minutes by straight lines; charge of 5 + m / 30 amperes: 5 * 33 + 33^2 / 60 A min.
    const auto totals = supply_totals(hour(10.0), 33.0, {});
    EXPECT_NEAR(totals->charge_ah.value, (5.0 * 33.0 + 33.0 * 33.0 / 60.0) / 60.0, 1e-12);
    EXPECT_FALSE(supply_totals(std::vector<SupplyReading>{{0.0, 13.0, 5.0}, {10.0, 12.0, {}}}, 10.0, {}));
}

TEST(SupplyLog, TheCrossingLiesOnTheLine) {
    const std::vector<SupplyReading> readings{{0.0, 13.0, {}}, {10.0, 12.0, {}}, {20.0, 10.0, {}}};
    const auto crossing = supply_crossing(readings, 11.5, 0.1);
    ASSERT_TRUE(crossing);
    EXPECT_NEAR(crossing->minutes, 12.5, 1e-12);
    // 5 minutes a volt; the ends weigh a quarter and three quarters; the line's bow 2.5 min, rectangular.
    EXPECT_NEAR(crossing->doubt_minutes, std::hypot(0.5 * std::hypot(0.25, 0.75), 2.5 / std::sqrt(3.0)),
                1e-12);
    EXPECT_FALSE(supply_crossing(readings, 9.9, 0.1));
    EXPECT_NEAR(supply_crossing(readings, 10.0, 0.0)->minutes, 20.0, 1e-12);
}

TEST(LoopSeams, AGapThatComesEachTurnIsASeam) {
    std::vector<double> dips;
    for (int turn = 1; turn <= 100; ++turn) dips.push_back(60.3 * turn + (turn % 2 != 0 ? 0.1 : -0.1));
    dips.insert(dips.begin() + 10, 10 * 60.3 + 25.0);
    const LoopSeams parted = part_dips(dips, 60.0);
    EXPECT_EQ(parted.seams_s.size(), 100U);
    ASSERT_EQ(parted.others_s.size(), 1U);
    EXPECT_NEAR(parted.gap_s, 0.3, 0.002);
    dips.erase(dips.begin() + 40);  // one that noise hides
    EXPECT_EQ(part_dips(dips, 60.0).seams_s.size(), 99U);
    EXPECT_TRUE(part_dips(dips, 0.0).seams_s.empty());
}

TEST(RepeatLag, FindsAStretchBetweenSamples) {
    const auto at = [](double n) {
        double sum = 0.0;
        for (int k = 1; k <= 40; ++k) sum += std::sin(0.013 * k * k * 0.01 * n + 1.7 * k * k);
        return sum;
    };
    std::vector<double> stretch;
    std::vector<double> within;
    for (int n = 0; n < 4000; ++n) stretch.push_back(at(n));
    for (int n = 0; n < 4200; ++n) within.push_back(0.5 * at(n - 77.4));
    const auto found = find_repeat(stretch, within);
    ASSERT_TRUE(found);
    EXPECT_NEAR(found->frames, 77.4, 0.05);
    EXPECT_GT(found->likeness, 0.999);
    EXPECT_FALSE(find_repeat(within, stretch));
}

}  // namespace
}  // namespace assay::analysis
