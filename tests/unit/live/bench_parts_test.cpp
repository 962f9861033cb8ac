// Heat budget, stock parts, the wiring's judgement: expectations by hand.
#include <gtest/gtest.h>

#include <cmath>

#include "capture/heat_budget.h"
#include "cli/commands/live/sound_choice.h"
#include "cli/commands/live/wiring_check.h"
#include "cli/commands/stock_parts.h"

namespace assay::cli {
namespace {

using capture::SoundDevice;

TEST(HeatBudget, RestsUntilWhatIsAddedFits) {
    capture::Load load;
    load.rated_power_w = 50.0;
    capture::HeatBudget budget(load);
    // 10 s at the rating is the store: 500 W s. 150 W for 4 s add 400 W s above the rating.
    EXPECT_DOUBLE_EQ(budget.rest_before_s(600.0, 4.0), 0.0);
    budget.took({600.0, 4.0, 150.0});
    EXPECT_DOUBLE_EQ(budget.stored_ws(), 400.0);
    EXPECT_DOUBLE_EQ(budget.rest_before_s(600.0, 4.0), 6.0);  // 300 W s too many, at 50 W
    budget.rested(6.0);
    EXPECT_DOUBLE_EQ(budget.rest_before_s(600.0, 4.0), 0.0);
    EXPECT_TRUE(std::isinf(budget.rest_before_s(3000.0, 10.0)));
    load.rated_power_no_heatsink_w = 10.0;
    EXPECT_DOUBLE_EQ(*capture::HeatBudget(load).rating_w(), 10.0);
    EXPECT_DOUBLE_EQ(capture::HeatBudget(capture::Load{}).rest_before_s(1e9, 1.0), 0.0);
}

// The series of IEC 60063 are ten to the k-th part of a decade, rounded to two digits, but for nine historic
// values of E24 between 2.7 and 4.7 and at 8.2.
TEST(StockParts, SeriesAreThoseOfTheStandard) {
    ASSERT_EQ(e12().size(), 12U);
    ASSERT_EQ(e24().size(), 24U);
    for (std::size_t k = 0; k < 24; ++k) {
        const double exact = std::pow(10.0, static_cast<double>(k) / 24.0);
        EXPECT_NEAR(e24()[k] / exact, 1.0, 0.05) << k;
        if (k % 2 == 0) {
            EXPECT_DOUBLE_EQ(e12()[k / 2], e24()[k]);
        }
    }
    EXPECT_DOUBLE_EQ(stock_at_least(29700.0, e24()), 30000.0);
    EXPECT_DOUBLE_EQ(stock_at_least(9.2, e24()), 10.0);
    EXPECT_DOUBLE_EQ(stock_at_least(4700.0, e12()), 4700.0);
}

TEST(StockParts, DividerKeepsTheWorstCaseBelowItsTarget) {
    for (const double peak_v : {1.0, 5.0, 26.8, 80.0, 150.0}) {
        const DividerProposal divider = propose_divider(peak_v, 2.0, 10000.0);
        EXPECT_LE(divider.level_dbfs, divider_target_dbfs + (divider.needed ? 1e-9 : 8.0));
        // Not thrown away either: the next smaller value of E24 is at most 10 % below.
        if (divider.needed && divider.top_ohm > 10.0) {
            EXPECT_GT(divider.level_dbfs, divider_target_dbfs - 1.0);
        }
        EXPECT_LE(divider.top_w, 0.1251);
    }
    EXPECT_DOUBLE_EQ(worst_peak_v(50.0, 4.0, false), std::sqrt(800.0));
    EXPECT_DOUBLE_EQ(worst_peak_v(50.0, 4.0, true), std::sqrt(200.0));
}

std::vector<SoundDevice> two_cards() {
    return {SoundDevice{0, "ALSA", "Quay card: line (hw:1,0)", 2, 2, 48000.0, 0.1},
            SoundDevice{1, "ALSA", "Quay speaker (hw:0,0)", 0, 2, 48000.0, 0.1},
            SoundDevice{2, "JACK", "Quay card: line (hw:1,0)", 2, 2, 48000.0, 0.1}};
}

TEST(SoundChoice, APartOfANameWillDoWhereItChooses) {
    const auto devices = two_cards();
    EXPECT_EQ(choose_device(devices, "quay SPEAKER", Direction::play, "playback_device")->index, 1);
    EXPECT_EQ(choose_device(devices, "jack: quay card", Direction::record, "record_device")->index, 2);
    const auto many = choose_device(devices, "card", Direction::record, "record_device");
    ASSERT_FALSE(many);
    EXPECT_NE(many.error().text.find("2 devices"), std::string::npos) << many.error().text;
    const auto deaf = choose_device(devices, "speaker", Direction::record, "record_device");
    ASSERT_FALSE(deaf);
    EXPECT_NE(deaf.error().text.find("does not record"), std::string::npos) << deaf.error().text;
    EXPECT_FALSE(choose_device({}, "x", Direction::play, "playback_device"));
}

struct Wired {
    capture::Bench bench{};
    Test test{};
    Setup setup{};
    explicit Wired(bool bridged) {
        bench.outputs = {capture::Output{.name = "left", .channel = 1, .volts_at_full_scale = 2.0},
                         capture::Output{.name = "right", .channel = 2, .volts_at_full_scale = 2.0}};
        bench.inputs = {capture::Input{.name = "a", .channel = 1}, capture::Input{.name = "b", .channel = 2}};
        if (bridged) {
            bench.loads = {capture::Load{
                .name = "bridge", .resistance_ohm = 4.0, .driven_by = {0}, .plus = 0, .minus = 1}};
            test.loads = {0};
        } else {
            bench.loads = {capture::Load{.name = "la", .resistance_ohm = 4.0, .driven_by = {0}, .plus = 0},
                           capture::Load{.name = "lb", .resistance_ohm = 4.0, .driven_by = {1}, .plus = 1}};
            test.loads = {0, 1};
        }
        setup.bench = &bench;
        setup.test = &test;
    }
    /// Volts and phases of the two inputs for one output.
    std::string told(std::size_t output, double a_v, double b_v, double b_phase = 0.0,
                     double hum_v = 0.0) const {
        const HeardInput a{a_v > 0.0, a_v, 0.0, hum_v, hum_v > 0.0};
        const HeardInput b{b_v > 0.0, b_v, b_phase, hum_v, hum_v > 0.0};
        const auto judged = judge_wiring(setup, {{output, {a, b}}}, -40.0);
        return judged ? "good" : judged.error().text;
    }
};

TEST(WiringCheck, NamesWhatIsWrong) {
    const Wired stereo(false);
    EXPECT_EQ(stereo.told(0, 0.4, 0.0), "good");
    EXPECT_EQ(stereo.told(0, 0.4, 0.004), "good");  // crosstalk of -40 dB
    EXPECT_NE(stereo.told(0, 0.0, 0.4).find("swapped"), std::string::npos);
    EXPECT_NE(stereo.told(1, 0.4, 0.0).find("swapped"), std::string::npos);
    EXPECT_NE(stereo.told(0, 0.0, 0.0).find("not heard"), std::string::npos);
    EXPECT_NE(stereo.told(0, 0.4, 0.0, 0.0, 0.5).find("hum"), std::string::npos);
    // 2 V peak at -40 dBFS are 14 mV RMS: 400 V would be a gain of 89 dB.
    EXPECT_NE(stereo.told(0, 400.0, 0.0).find("not plausible"), std::string::npos);
    const Wired bridge(true);
    EXPECT_EQ(bridge.told(0, 0.2, 0.2, 3.14), "good");
    EXPECT_NE(bridge.told(0, 0.2, 0.2, 0.0).find("together"), std::string::npos);
    EXPECT_NE(bridge.told(0, 0.2, 0.0).find("one end"), std::string::npos);
}

}  // namespace
}  // namespace assay::cli
