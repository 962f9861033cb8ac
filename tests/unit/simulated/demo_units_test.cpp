// Plausibility of the demo units (common practice, no source): what a small amplifier of this rating is
// known to give. It shows that the model's supply behaves, and proves nothing about the analysis.
#include "capture/simulated/demo_units.h"

#include <gtest/gtest.h>

#include <cstdio>

#include "unit/simulated/clip_power.h"

namespace assay::capture {
namespace {

using test::power_at_one_percent_w;

Bench with_unit(Bench bench, SimulatedBench unit) {
    bench.simulated = unit;
    bench.simulated.load_tempco_ppm_per_k = 0.0;  // so that the stated resistance is the one that is there
    return bench;
}

double one_channel_w(const SimulatedBench& unit, double load_ohm) {
    return power_at_one_percent_w(with_unit(test::two_channel_bench(load_ohm), unit), {0}, {0}, 0, false);
}

double each_of_both_w(const SimulatedBench& unit, double load_ohm, std::size_t channel) {
    return power_at_one_percent_w(with_unit(test::two_channel_bench(load_ohm), unit), {0, 1}, {0, 1}, channel,
                                  false);
}

double bridged_w(const SimulatedBench& unit, double load_ohm) {
    return power_at_one_percent_w(with_unit(test::bridged_bench(load_ohm), unit), {0}, {0}, 0, true);
}

TEST(DemoUnits, TheSupplyIsFixedFromOneChannelAndPredictsTheBridge) {
    const SimulatedBench unit = healthy_demo_unit();
    const double four_w = one_channel_w(unit, 4.0);
    const double two_w = one_channel_w(unit, 2.0);
    const double bridge_w = bridged_w(unit, 4.0);
    std::printf(
        "one channel: %.1f W into 4 ohm, %.1f W into 2 ohm; bridged into 4 ohm: %.1f W = %.2f times, ideal "
        "4\n",
        four_w, two_w, bridge_w, bridge_w / four_w);
    // What the settings were chosen for.
    EXPECT_NEAR(four_w, 50.0, 2.0);
    EXPECT_NEAR(two_w, 80.0, 2.0);
    // What follows.
    EXPECT_GT(bridge_w, 130.0);
    EXPECT_LT(bridge_w, 140.0);
    EXPECT_LT(bridge_w, 3.0 * four_w);
}

TEST(DemoUnits, BridgedPowerIsThatOfBothChannelsIntoHalfTheLoad) {
    SimulatedBench unit = healthy_demo_unit();
    unit.amplifier.channel_gain_db = {0.0, 0.0};
    unit.amplifier.crosstalk_db = -200.0;
    const double bridge_w = bridged_w(unit, 4.0);
    // Driven out of phase, so that the load on the supply is the same from one half wave to the next.
    unit.amplifier.second_channel_inverted = true;
    const double sum_w = each_of_both_w(unit, 2.0, 0) + each_of_both_w(unit, 2.0, 1);
    std::printf("bridged into 4 ohm: %.1f W; both into 2 ohm: %.1f W\n", bridge_w, sum_w);
    EXPECT_NEAR(bridge_w, sum_w, 0.02 * sum_w);
}

TEST(DemoUnits, HealthyChannelsGiveTwiceTheRatingDrivenTogether) {
    const SimulatedBench unit = healthy_demo_unit();
    for (const std::size_t channel : {0U, 1U}) {
        const double power_w = each_of_both_w(unit, 4.0, channel);
        std::printf("healthy, both driven, channel %zu into 4 ohm: %.1f W\n", channel + 1, power_w);
        EXPECT_GT(power_w, 45.0);
        EXPECT_LT(power_w, 55.0);
    }
}

TEST(DemoUnits, TiredOneMissesItsRating) {
    for (const std::size_t channel : {0U, 1U}) {
        const double power_w = each_of_both_w(tired_demo_unit(), 4.0, channel);
        std::printf("tired, both driven, channel %zu into 4 ohm: %.1f W\n", channel + 1, power_w);
        EXPECT_NEAR(power_w, 18.0, 1.0);
        EXPECT_LT(power_w, demo_rated_power_w);
    }
}

TEST(DemoUnits, PowerFollowsTheSquareOfAnUnloadedSupply) {
    // Closed form: with no sag and no loss the power at a distortion limit goes as the supply squared.
    SimulatedBench unit = healthy_demo_unit();
    SimulatedAmplifier& amplifier = unit.amplifier;
    amplifier.supply_resistance_ohm = 0.0;
    amplifier.rail_resistance_ohm = 0.0;
    amplifier.saturation_v = 0.0;
    amplifier.crossover_v = 0.0;
    const double low_w = one_channel_w(unit, 4.0);
    amplifier.supply_v *= 1.1;
    EXPECT_NEAR(one_channel_w(unit, 4.0) / low_w, 1.21, 1.21 * 0.002);
}

}  // namespace
}  // namespace assay::capture
