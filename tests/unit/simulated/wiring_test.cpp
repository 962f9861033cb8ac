#include "capture/simulated/wiring.h"

#include <gtest/gtest.h>

#include "unit/simulated/take.h"

namespace assay::capture {
namespace {

using test::bridged_bench;
using test::two_channel_bench;

TEST(Wiring, NthOutputFeedsNthChannelAndItsLoadHangsThere) {
    const auto wiring = wire(two_channel_bench(4.0), {});
    ASSERT_TRUE(wiring.has_value()) << wiring.error().text;
    EXPECT_EQ(wiring->feeds[0], 0U);
    EXPECT_EQ(wiring->feeds[1], 1U);
    EXPECT_EQ(wiring->loads[0].plus, 0U);
    EXPECT_EQ(wiring->loads[1].plus, 1U);
    EXPECT_EQ(wiring->inputs.size(), 2U);
    EXPECT_FALSE(wiring->second_inverted);
}

TEST(Wiring, OneOutputFeedsBothAndLoadsAreSharedOutInOrder) {
    Bench bench = two_channel_bench(4.0);
    bench.outputs.pop_back();
    bench.loads[1].driven_by = {0};
    const auto wiring = wire(bench, {});
    ASSERT_TRUE(wiring.has_value());
    EXPECT_EQ(wiring->feeds[1], 0U);
    EXPECT_EQ(wiring->loads[1].plus, 1U);
    // The same place when it is connected alone.
    const std::vector<std::size_t> second{1};
    EXPECT_EQ(wire(bench, second)->loads[0].plus, 1U);
}

TEST(Wiring, OneOutputBridgesWithTheSecondChannelInverted) {
    const auto wiring = wire(bridged_bench(4.0), {});
    ASSERT_TRUE(wiring.has_value());
    EXPECT_TRUE(wiring->second_inverted);
    EXPECT_EQ(wiring->loads[0].plus, 0U);
    EXPECT_EQ(wiring->loads[0].minus, 1U);
}

TEST(Wiring, TwoOutputsBridgeInTheOrderOfDrivenBy) {
    Bench bench = two_channel_bench(4.0);
    bench.loads = {Load{.name = "bridge", .resistance_ohm = 4.0, .driven_by = {1, 0}, .plus = 0, .minus = 1}};
    const auto wiring = wire(bench, {});
    ASSERT_TRUE(wiring.has_value());
    EXPECT_EQ(wiring->loads[0].plus, 1U);
    EXPECT_EQ(wiring->loads[0].minus, 0U);
    EXPECT_FALSE(wiring->second_inverted);
}

TEST(Wiring, LoadsThatShareAnInputMustBeNamed) {
    Bench bench = two_channel_bench(4.0);
    bench.loads.push_back(Load{.name = "load-2-ohm", .resistance_ohm = 2.0, .driven_by = {0}, .plus = 0});
    const auto unnamed = wire(bench, {});
    ASSERT_FALSE(unnamed.has_value());
    EXPECT_EQ(unnamed.error().text,
              "simulated bench: loads 'load-a' and 'load-2-ohm' share input 'probe-a', and nothing says "
              "which is connected");
    const std::vector<std::size_t> named{2};
    EXPECT_TRUE(wire(bench, named).has_value());
}

TEST(Wiring, ContradictionsAreRefused) {
    Bench third = two_channel_bench(4.0);
    third.outputs.push_back(Output{.name = "centre", .channel = 3});
    third.loads[1].driven_by = {2};
    EXPECT_EQ(wire(third, {}).error().text,
              "simulated bench: load 'load-b' would need a third amplifier channel");

    Bench same = two_channel_bench(4.0);
    same.loads = {Load{.name = "bridge", .resistance_ohm = 4.0, .driven_by = {1, 1}, .plus = 0, .minus = 1}};
    EXPECT_EQ(wire(same, {}).error().text,
              "simulated bench: both ends of load 'bridge' are on one amplifier channel");

    Bench both = two_channel_bench(4.0);
    both.loads[1].plus = 0;
    const std::vector<std::size_t> all{0, 1};
    EXPECT_EQ(wire(both, all).error().text,
              "simulated bench: input 'probe-a' would be on both amplifier channels at once");

    Bench silent = two_channel_bench(4.0);
    silent.outputs.clear();
    EXPECT_EQ(wire(silent, {}).error().kind, FaultKind::bad_input_file);
}

TEST(Wiring, ReferenceInputsSeeTheAmplifiersInputs) {
    Bench bench = two_channel_bench(4.0);
    bench.inputs.push_back(Input{.name = "reference", .channel = 3, .role = InputRole::reference});
    const auto wiring = wire(bench, {});
    ASSERT_EQ(wiring->inputs.size(), 3U);
    EXPECT_FALSE(wiring->inputs[2].at_output);
    EXPECT_EQ(wiring->inputs[2].channel, 0U);
}

}  // namespace
}  // namespace assay::capture
