// Each rule of the findings on both sides of its boundary. The figures are made from the relations that the
// rules rest on (Ohm's law, a supply behind a resistance, decibels), not from the rules' own code.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <deque>

#include "cli/measures/judgement/finding.h"

namespace assay::cli {
namespace {

struct Channel {
    std::string load{};
    double positive_v = 20.0;
    double negative_v = 20.0;
    double gain_db = 26.0;
    bool clean = true;
};

/// A session of power tests on a bench with left and right into 8, 4 and 2 ohm.
struct Unit {
    capture::Bench bench{};
    std::deque<TestResult> results{};
    std::vector<TestedResult> tests{};

    Unit() {
        bench.inputs.resize(2);
        for (const double ohm : {8.0, 4.0, 2.0}) {
            for (const std::size_t side : {0U, 1U}) {
                capture::Load load;
                load.name = (side == 0 ? "left-" : "right-") + std::to_string(static_cast<int>(ohm));
                load.resistance_ohm = ohm;
                load.plus = side;
                bench.loads.push_back(load);
            }
        }
    }

    TestResult& add(const std::string& id, const std::string& measure) {
        results.emplace_back();
        results.back().measure = measure;
        tests.push_back({id, &results.back()});
        return results.back();
    }

    TestResult& power(const std::string& id, const std::vector<Channel>& channels) {
        TestResult& result = add(id, "clipping-power");
        for (const Channel& channel : channels) {
            Numbers numbers;
            numbers.add("clip_onset_positive_v", {channel.positive_v, "V", {}});
            numbers.add("clip_onset_negative_v", {channel.negative_v, "V", {}});
            numbers.add("gain_db", {channel.gain_db, "dB", {}});
            const double rms_v = std::min(channel.positive_v, channel.negative_v) / std::sqrt(2.0);
            const double thd = channel.clean ? 0.1 : 2.0;
            numbers.curves.emplace_back(
                "level", analysis::Curve{{{"voltage_v", {0.1 * rms_v, 0.7 * rms_v, 1.1 * rms_v}},
                                          {"thd_percent", {thd, thd, 5.0}}}});
            result.loads.emplace_back(channel.load, std::move(numbers));
        }
        return result;
    }

    std::vector<std::string> codes() const {
        std::vector<std::string> codes;
        for (const Finding& finding : find_causes(bench, tests)) codes.push_back(finding.code);
        return codes;
    }

    bool says(const std::string& code) const {
        const auto all = codes();
        return std::find(all.begin(), all.end(), code) != all.end();
    }
};

double lower_by(double value, double decibels) {
    return value * std::pow(10.0, -decibels / 20.0);
}

TEST(Rules, NothingIsSaidOfASoundUnit) {
    Unit unit;
    unit.power("p8", {{"left-8"}, {"right-8"}});
    unit.power("p4", {{"left-4", 19.5, 19.5}, {"right-4", 19.5, 19.5}});
    EXPECT_TRUE(unit.codes().empty());
}

TEST(Rules, HumBelow60DecibelsUnder1Watt) {
    // 1 W into 4 ohm is 2 V; 60 dB below it 2 mV.
    for (const auto& [hum_v, said] : {std::pair{1.99e-3, false}, {2.01e-3, true}}) {
        Unit unit;
        Numbers numbers;
        numbers.add("hum_v", {hum_v, "V", {}});
        numbers.add("mains_hz", {50.0, "Hz", {}});
        unit.add("rest", "noise").loads.emplace_back("left-4", numbers);
        EXPECT_EQ(unit.says("hum"), said) << hum_v;
    }
}

TEST(Rules, BassLossOf1Point5DecibelsAt40Hertz) {
    for (const auto& [loss_db, said] : {std::pair{1.45, false}, {1.55, true}}) {
        Unit unit;
        Numbers numbers;
        numbers.curves.emplace_back(
            "response",
            analysis::Curve{{{"frequency_hz", {20.0, 40.0, 1000.0, 20000.0}},
                             {"magnitude_db", {20.0 - 2.0 * loss_db, 20.0 - loss_db, 20.0, 20.0}}}});
        unit.add("sweep", "response").loads.emplace_back("left-8", numbers);
        EXPECT_EQ(unit.says("low-frequency-loss"), said) << loss_db;
    }
}

TEST(Rules, HalvesThatDifferByHalfADecibel) {
    for (const auto& [apart_db, said] : {std::pair{0.45, false}, {0.55, true}}) {
        const double weak_v = lower_by(20.0, apart_db);
        Unit rail;
        rail.power("p8", {{"left-8", weak_v, 20.0}, {"right-8", weak_v, 20.0}});
        EXPECT_EQ(rail.says("weak-rail"), said) << apart_db;
        Unit half;
        half.power("p8", {{"left-8", weak_v, 20.0}, {"right-8"}});
        EXPECT_EQ(half.says("weak-half"), said) << apart_db;
        Unit alone;
        alone.power("p8", {{"left-8", weak_v, 20.0}});
        EXPECT_EQ(alone.says("uneven-halves"), said) << apart_db;
        // A wave that is no sine before it clips shows no ceiling.
        Unit distorted;
        distorted.power("p8",
                        {{"left-8", weak_v, 20.0, 26.0, false}, {"right-8", weak_v, 20.0, 26.0, false}});
        EXPECT_FALSE(distorted.says("weak-rail"));
    }
}

TEST(Rules, ASecondChannelThatIsNeitherEvenNorUnevenTellsNothing) {
    for (const auto& [other_db, said] : {std::pair{0.2, true}, {0.3, false}}) {
        Unit unit;
        unit.power("p8",
                   {{"left-8", lower_by(20.0, 1.0), 20.0}, {"right-8", lower_by(20.0, other_db), 20.0}});
        EXPECT_EQ(unit.says("weak-half"), said) << other_db;
    }
}

TEST(Rules, ChannelsADecibelApartInGain) {
    for (const auto& [apart_db, said] : {std::pair{0.95, false}, {1.05, true}}) {
        Unit unit;
        unit.power("p8", {{"left-8"}, {"right-8", 20.0, 20.0, 26.0 - apart_db}});
        EXPECT_EQ(unit.says("gain-imbalance"), said) << apart_db;
    }
}

TEST(Rules, AChannelThatClips0Point7DecibelsBelowTheOther) {
    for (const auto& [apart_db, said] : {std::pair{0.65, false}, {0.75, true}}) {
        const double weak_v = lower_by(20.0, apart_db);
        Unit unit;
        unit.power("p8", {{"left-8"}, {"right-8", weak_v, weak_v}});
        EXPECT_EQ(unit.says("weak-channel"), said) << apart_db;
    }
}

TEST(Rules, AResistanceOfAQuarterOhmInTheOutputsWay) {
    for (const auto& [ohm, said] : {std::pair{0.24, false}, {0.26, true}}) {
        const auto gain_db = [&, r = ohm](double load_ohm) {
            return 26.0 + 20.0 * std::log10(load_ohm / (load_ohm + r));
        };
        const auto volts = [&, r = ohm](double load_ohm) { return 20.0 * load_ohm / (load_ohm + r); };
        Unit unit;
        unit.power("p8", {{"left-8", volts(8), volts(8), gain_db(8)}});
        unit.power("p4", {{"left-4", volts(4), volts(4), gain_db(4)}});
        EXPECT_EQ(unit.says("output-resistance"), said) << ohm;
        EXPECT_FALSE(unit.says("supply-sag") || unit.says("power-falls-with-load")) << ohm;
    }
}

TEST(Rules, LosingATenthOfThePowerTwice) {
    // 10 log10(0.9) = -0.458 dB.
    for (const auto& [fall_db, said] : {std::pair{0.44, false}, {0.48, true}}) {
        Unit falls;
        const double low_v = lower_by(20.0, fall_db);
        falls.power("p8", {{"left-8"}, {"right-8"}});
        falls.power("p4", {{"left-4", low_v, low_v}, {"right-4", low_v, low_v}});
        EXPECT_EQ(falls.says("power-falls-with-load"), said) << fall_db;
        Unit fades;
        fades.power("cold", {{"left-8"}});
        fades.power("hot", {{"left-8", low_v, low_v}});
        EXPECT_EQ(fades.says("thermal-fade"), said) << fall_db;
    }
}

TEST(Rules, AFadeAtAnotherGainIsNone) {
    for (const auto& [apart_db, said] : {std::pair{0.25, true}, {0.35, false}}) {
        Unit unit;
        const double low_v = lower_by(20.0, 1.0);
        unit.power("cold", {{"left-8"}});
        unit.power("hot", {{"left-8", low_v, low_v, 26.0 - apart_db}});
        EXPECT_EQ(unit.says("thermal-fade"), said) << apart_db;
    }
}

TEST(Rules, ACurrentThatGrowsByLessThan15Percent) {
    // From 8 to 4 ohm the peak current is 2 V4 / V8 times as high.
    for (const auto& [growth, said] : {std::pair{1.14, true}, {1.16, false}}) {
        Unit unit;
        const double low_v = 20.0 * growth / 2.0;
        unit.power("p8", {{"left-8"}, {"right-8"}});
        unit.power("p4", {{"left-4", low_v, low_v}, {"right-4", low_v, low_v}});
        EXPECT_EQ(unit.says("current-limit"), said) << growth;
        EXPECT_EQ(unit.says("power-falls-with-load"), !said) << growth;
    }
}

TEST(Rules, AChannelAloneTellsSupplyFromCurrent) {
    // 2 dB lost with both driven; alone it gets back 40 % or more of them, 15 % or less, or between.
    for (const auto& [back_db, code] : {std::pair{0.82, "supply-sag"},
                                        {0.78, "power-falls-with-load"},
                                        {0.32, "power-falls-with-load"},
                                        {0.28, "current-limit"}}) {
        Unit unit;
        const double low_v = lower_by(20.0, 2.0);
        const double alone_v = lower_by(20.0, 2.0 - back_db);
        unit.power("p8", {{"left-8"}, {"right-8"}});
        unit.power("p4", {{"left-4", low_v, low_v}, {"right-4", low_v, low_v}});
        unit.power("alone", {{"left-4", alone_v, alone_v}});
        EXPECT_TRUE(unit.says(code)) << back_db;
    }
}

TEST(Rules, ThreeLoadsOnAStraightLineAreASupply) {
    // V = V0 / (1 + k / R): 1/V over 1/R is straight. Beyond a quarter of the fall it is told no more, beyond
    // six tenths the current is limited.
    for (const auto& [beyond_share, code] :
         {std::pair{0.0, "supply-sag"}, {0.22, "supply-sag"}, {0.29, "power-falls-with-load"}}) {
        const double k = 1.2;
        const auto volts = [&](double ohm) { return 24.0 / (1.0 + k / ohm); };
        const double line_db = 20.0 * std::log10(volts(8) / volts(2));
        // share = beyond / (line + beyond)
        const double low_v = lower_by(volts(2), line_db * beyond_share / (1.0 - beyond_share));
        Unit unit;
        unit.power("p8", {{"left-8", volts(8), volts(8)}, {"right-8", volts(8), volts(8)}});
        unit.power("p4", {{"left-4", volts(4), volts(4)}, {"right-4", volts(4), volts(4)}});
        unit.power("p2", {{"left-2", low_v, low_v}, {"right-2", low_v, low_v}});
        EXPECT_TRUE(unit.says(code)) << beyond_share;
    }
}

TEST(Rules, ASupplyThatTakesATenthFrom8To4OhmIsOrdinaryInto2OhmToo) {
    // (1 + k / 4) / (1 + k / 8) squared is 1 / 0.9 at k = 0.4577 ohm; the same k takes 26 % from 8 to 2 ohm.
    for (const auto& [k, said] : {std::pair{0.45, false}, {0.465, true}}) {
        const auto volts = [&, k = k](double ohm) { return 24.0 / (1.0 + k / ohm); };
        Unit unit;
        unit.power("p8", {{"left-8", volts(8), volts(8)}, {"right-8", volts(8), volts(8)}});
        unit.power("p4", {{"left-4", volts(4), volts(4)}, {"right-4", volts(4), volts(4)}});
        unit.power("p2", {{"left-2", volts(2), volts(2)}, {"right-2", volts(2), volts(2)}});
        EXPECT_EQ(unit.says("supply-sag"), said) << k;
        EXPECT_EQ(unit.codes().empty(), !said) << k;
    }
}

TEST(Rules, AMeterAtTheTerminalsTellsWhichSupply) {
    for (const auto& [fall, code] : {std::pair{0.049, "supply-sag"}, {0.051, "outside-supply-sag"}}) {
        Unit unit;
        const double low_v = lower_by(20.0, 2.0);
        const double alone_v = lower_by(20.0, 0.5);
        unit.power("p8", {{"left-8"}, {"right-8"}});
        TestResult& loaded = unit.power("p4", {{"left-4", low_v, low_v}, {"right-4", low_v, low_v}});
        loaded.conditions = {{"supply_idle_v", 14.4}, {"supply_loaded_v", 14.4 * (1.0 - fall)}};
        unit.power("alone", {{"left-4", alone_v, alone_v}});
        EXPECT_TRUE(unit.says(code)) << fall;
    }
}

TEST(Rules, ATestWithoutAnyLimitWasNotLoudEnough) {
    for (const bool limit : {false, true}) {
        Unit unit;
        Numbers numbers;
        numbers.curves.emplace_back(
            "level", analysis::Curve{{{"voltage_v", {1.0, 5.0}}, {"thd_percent", {0.1, 0.1}}}});
        if (limit) numbers.add("power_at_1_percent_w", {3.0, "W", {}});
        unit.add("p8", "clipping-power").loads.emplace_back("left-8", numbers);
        EXPECT_EQ(unit.says("source-too-low"), !limit);
    }
}

TEST(Rules, WarningsOfACutOutAndOfADeadZoneBecomeFindings) {
    for (const auto& [warning, code] :
         {std::pair{"tone-vanished", "protection"}, {"crossover-distortion", "crossover"}}) {
        Unit unit;
        unit.power("p4", {{"left-4"}}).loads.front().second.warn(warning, "", "");
        EXPECT_TRUE(unit.says(code));
        Unit without;
        without.power("p4", {{"left-4"}});
        EXPECT_FALSE(without.says(code));
    }
}

}  // namespace
}  // namespace assay::cli
