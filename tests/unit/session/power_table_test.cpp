// The table of power from results made by hand. Expected values are closed forms worked out beside each
// check: Ohm's law, the law of propagation (JCGM 100:2008, 5.2, correlated inputs), least squares on two and
// three points.
#include "cli/report/power_table.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "cli/report/power_text.h"
#include "cli/report/show.h"
#include "unit/session/power_sessions.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using testing::HasSubstr;
using testing::Not;

const PowerLine* line_of(const PowerTable& table, LineKind kind, const std::vector<std::string>& tests) {
    for (const PowerLine& line : table.lines) {
        if (line.kind == kind && line.tests == tests) return &line;
    }
    return nullptr;
}

double figure(const Numbers& figures, const std::string& name) {
    const Quantity* found = figures.find(name);
    return found == nullptr ? std::nan("") : found->value;
}

TEST(PowerTable, DropFromOneChannelToBothKeepsOnlyWhatTheTestsDoNotShare) {
    Session session = empty_session();
    add_test(session, "left", {{"a4", 50.0}});
    add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    const PowerTable table = power_table(session);
    const PowerLine* line = line_of(table, LineKind::channels, {"left", "both"});
    ASSERT_NE(line, nullptr);
    EXPECT_EQ(line->load, "a4");
    // 10 log10(50 / 45) and 1 - 45 / 50.
    EXPECT_NEAR(figure(line->figures, "drop_db"), 0.457575, 1e-6);
    EXPECT_NEAR(figure(line->figures, "drop_percent"), 10.0, 1e-12);
    // Scale, meter and load cancel in the ratio 0.9; the noise of two tests does not: 0.9 sqrt(2) 0.0005,
    // twice.
    EXPECT_NEAR(line->figures.find("drop_percent")->expanded_uncertainty(), 0.127279, 1e-6);
    // 4.342945 sqrt(2) 0.0005, twice.
    EXPECT_NEAR(line->figures.find("drop_db")->expanded_uncertainty(), 0.00614185, 1e-8);
    // b4 was never driven alone.
    EXPECT_EQ(std::count_if(table.lines.begin(), table.lines.end(),
                            [](const PowerLine& l) { return l.kind == LineKind::channels; }),
              1);
    ASSERT_TRUE(table.row("both")->powers.front().total);
    EXPECT_DOUBLE_EQ(table.row("both")->powers.front().total->value, 89.0);
}

TEST(PowerTable, OnlyWhatWasMeasuredAlikeIsCompared) {
    for (const int what : {0, 1, 2, 3}) {
        Session session = empty_session();
        TestRecord& left = add_test(session, "left", {{"a4", 50.0}}, what == 0 ? 13.9 : 14.4);
        if (what == 1) left.result.conditions[0].second = 83.0;
        if (what == 2) left.result.conditions[1].second = std::string("thd");
        if (what == 3) left.result.measure = "meter-power";
        add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
        EXPECT_EQ(line_of(power_table(session), LineKind::channels, {"left", "both"}), nullptr) << what;
    }
}

TEST(PowerTable, BridgedAgainstStereoWithTheIdealForItsOhms) {
    Session session = empty_session();
    add_test(session, "left", {{"a4", 47.0}});
    add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    add_test(session, "bridge", {{"bridge4", 133.5}});
    add_test(session, "bridge-8", {{"bridge8", 84.55}});
    const PowerTable table = power_table(session);
    const PowerLine* same = line_of(table, LineKind::bridged, {"both", "bridge"});
    ASSERT_NE(same, nullptr);
    EXPECT_EQ(line_of(table, LineKind::bridged, {"left", "bridge"}), nullptr);  // both together say it better
    EXPECT_NEAR(figure(same->figures, "over_stereo_total"), 1.5, 1e-12);        // 133.5 / 89
    EXPECT_NEAR(figure(same->figures, "over_channel"), 3.0, 1e-12);             // of the mean channel
    EXPECT_NEAR(same->stiff_ratio, 4.0, 1e-12);                                 // (2 V)^2 / R over V^2 / R
    // Correlated by hand: bridge's probe a 0.012 (all of it here), both's a 0.012 * 45/89 and b 0.012 *
    // 44/89; the meter cancels; three resistors 0.009 each (1, 45/89, 44/89); three noises alike.
    const double a = input_doubt * (1.0 - 45.0 / 89.0);
    const double b = input_doubt * 44.0 / 89.0;
    const double own = std::sqrt(1.0 + std::pow(45.0 / 89.0, 2) + std::pow(44.0 / 89.0, 2));
    const double by_hand =
        1.5 * std::sqrt(a * a + b * b + std::pow(own * ohm_doubt, 2) + std::pow(own * noise_doubt, 2));
    EXPECT_NEAR(same->figures.find("over_stereo_total")->standard_uncertainty(), by_hand, 1e-12);
    const PowerLine* twice = line_of(table, LineKind::bridged, {"both", "bridge-8"});
    ASSERT_NE(twice, nullptr);
    EXPECT_NEAR(twice->stiff_ratio, 2.0, 1e-12);
    EXPECT_NEAR(figure(twice->figures, "over_stereo_total"), 0.95, 1e-12);
    // A bridge of 4 ohm makes each half work into 2.
    EXPECT_NEAR(table.row("bridge")->lowest_channel_ohm, 2.0, 1e-12);
}

TEST(PowerTable, LadderOfOhmsIsFreeOfTheResistorsDoubt) {
    Session session = empty_session();
    add_test(session, "at-2", {{"a2", 75.0}});
    add_test(session, "at-8", {{"a8", 30.0}});
    add_test(session, "at-4", {{"a4", 50.0}});
    const PowerTable table = power_table(session);
    const PowerLine* first = line_of(table, LineKind::ohms, {"at-8", "at-4"});
    const PowerLine* second = line_of(table, LineKind::ohms, {"at-4", "at-2"});
    ASSERT_NE(first, nullptr);
    ASSERT_NE(second, nullptr);
    EXPECT_EQ(line_of(table, LineKind::ohms, {"at-8", "at-2"}), nullptr);
    EXPECT_NEAR(figure(first->figures, "power_ratio"), 5.0 / 3.0, 1e-12);
    EXPECT_NEAR(figure(first->figures, "of_doubling_percent"), 250.0 / 3.0, 1e-9);
    EXPECT_NEAR(figure(second->figures, "of_doubling_percent"), 75.0, 1e-9);
    // The ratio holds both resistors and both noises; P R = V^2 over V^2 holds the noises only.
    EXPECT_NEAR(second->figures.find("power_ratio")->standard_uncertainty(),
                1.5 * std::sqrt(2.0) * std::hypot(ohm_doubt, noise_doubt), 1e-12);
    EXPECT_NEAR(second->figures.find("of_doubling_percent")->standard_uncertainty(),
                75.0 * std::sqrt(2.0) * noise_doubt, 1e-9);
}

TEST(PowerTable, ExponentOfTheSupply) {
    Session session = empty_session();
    const double law = 1.8;
    for (const double volts : {12.0, 14.4, 13.2})
        add_test(session, "at-" + std::to_string(static_cast<int>(10 * volts)),
                 {{"a4", 0.4 * std::pow(volts, law)}}, volts + 0.3, volts);
    session.tests[0].result.conditions.emplace_back("supply_uncertainty_v", 0.03);
    const PowerTable table = power_table(session);
    const PowerLine* line = line_of(table, LineKind::supply, {"at-144", "at-132", "at-120"});
    ASSERT_NE(line, nullptr);
    EXPECT_NEAR(figure(line->figures, "exponent"), law, 1e-9);
    // By hand: x = ln V; weights (x - mean) / Sxx; noise 0.0005 of each point, and the volts of one point
    // move the slope by -law times its weight, as all points lie on the line. Scale, meter and load weigh
    // nothing.
    const double x[3] = {std::log(12.0), std::log(14.4), std::log(13.2)};
    const double mean = (x[0] + x[1] + x[2]) / 3.0;
    double sxx = 0.0;
    for (const double value : x) sxx += (value - mean) * (value - mean);
    const double from_volts = law * (x[0] - mean) / sxx * 0.03 / 12.0;
    EXPECT_NEAR(line->figures.find("exponent")->standard_uncertainty(),
                std::hypot(noise_doubt / std::sqrt(sxx), from_volts), 1e-9);
}

TEST(PowerTable, SagEfficiencyAndIdleDraw) {
    Session session = empty_session();
    TestRecord& record = add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    auto& conditions = record.result.conditions;
    conditions.emplace_back("supply_idle_current_a", 0.8);
    conditions.emplace_back("supply_current_a", 10.8);
    conditions.emplace_back("supply_uncertainty_v", 0.02);
    conditions.emplace_back("supply_current_uncertainty_percent", 1.0);
    const PowerTable table = power_table(session);
    const Numbers& figures = table.row("both")->figures;
    EXPECT_NEAR(figure(figures, "supply_resistance_ohm"), 0.05, 1e-12);  // (14.4 - 13.9) / (10.8 - 0.8)
    EXPECT_NEAR(figure(figures, "efficiency_percent"), 100.0 * 89.0 / (13.9 * 10.8), 1e-9);  // 59.29 %
    EXPECT_NEAR(figure(figures, "idle_draw_w"), 11.52, 1e-12);                               // 14.4 * 0.8
    // 0.05 sqrt(2 (0.02 / 0.5)^2 + 0.01^2): two readings of volts, one scale of amperes.
    EXPECT_NEAR(figures.find("supply_resistance_ohm")->standard_uncertainty(),
                0.05 * std::sqrt(2.0 * 0.04 * 0.04 + 1e-4), 1e-12);
    EXPECT_TRUE(figures.warnings.empty());
}

TEST(PowerTable, EfficiencyThatCannotBe) {
    const auto with = [](double amperes, OutputStage stage) {
        Session session = empty_session();
        session.unit.output_stage = stage;
        TestRecord& record = add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
        record.result.conditions.emplace_back("supply_current_a", amperes);
        return power_table(session).row("both")->figures;
    };
    // 89 / (13.9 * 8) = 80.0 %, 89 / (13.9 * 6) = 106.7 %.
    const Numbers high = with(8.0, OutputStage::not_stated);
    EXPECT_NEAR(figure(high, "efficiency_percent"), 80.036, 1e-3);
    ASSERT_EQ(high.warnings.size(), 1U);
    EXPECT_EQ(high.warnings[0].code, "efficiency-unlikely");
    EXPECT_TRUE(with(8.0, OutputStage::switching).warnings.empty());
    const Numbers impossible = with(6.0, OutputStage::switching);
    EXPECT_EQ(impossible.find("efficiency_percent"), nullptr);
    ASSERT_NE(impossible.find_absent("efficiency_percent"), nullptr);
    EXPECT_EQ(impossible.find_absent("efficiency_percent")->code, "efficiency-impossible");
    // The idle current was not read, so the supply's resistance is not known.
    EXPECT_EQ(impossible.find_absent("supply_resistance_ohm")->code, "supply-current-missing");
}

TEST(PowerTable, BridgedAndStereoAtOnceLoadTheChannelsTogether) {
    // A known figure of the trade's planning, worked by hand: 4 ohm beside half of a bridged 4 ohm is 1.33
    // ohm.
    Session session = empty_session();
    session.unit.minimum_load_ohm = 2.0;
    add_test(session, "mixed", {{"a4", 20.0}, {"b4", 20.0}, {"bridge4", 50.0}});
    const PowerTable table = power_table(session);
    const PowerRow* row = table.row("mixed");
    EXPECT_EQ(row->arrangement, Arrangement::bridged_and_stereo);
    EXPECT_NEAR(row->lowest_channel_ohm, 4.0 / 3.0, 1e-12);
    ASSERT_EQ(row->figures.warnings.size(), 1U);
    EXPECT_EQ(row->figures.warnings[0].code, "below-minimum-load");
    session.unit.minimum_load_ohm = 1.4;  // 5 % of slack for a resistor's own ohms: 1.33 counts as 1.4
    EXPECT_TRUE(power_table(session).row("mixed")->figures.warnings.empty());
}

TEST(PowerTable, EstimateAtTheRatingsSupplyIsMarkedAndRefusedForARegulatedUnit) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "mobile-14.4-v";
    add_test(session, "at-12", {{"a4", 36.0}}, 12.3, 12.0);
    PowerTable table = power_table(session);
    const PowerLine* line = line_of(table, LineKind::projection, {"at-12"});
    ASSERT_NE(line, nullptr);
    EXPECT_NEAR(figure(line->figures, "estimated_w"), 36.0 * 1.44, 1e-9);
    EXPECT_THAT(line_sentence(table, *line), HasSubstr("ESTIMATE, not measured"));
    add_test(session, "at-11", {{"a4", 35.5}}, 11.3, 11.0);  // hardly less: it regulates
    table = power_table(session);
    line = line_of(table, LineKind::projection, {"at-12"});
    ASSERT_NE(line, nullptr);
    EXPECT_EQ(line->figures.find("estimated_w"), nullptr);
    EXPECT_EQ(line->figures.find_absent("estimated_w")->code, "regulated");
}

TEST(PowerTable, TextShowsOneTableAndNoRepeatedTotal) {
    Session session = empty_session();
    TestRecord& left = add_test(session, "left", {{"a4", 50.0}});
    left.result.whole.add("total_power_at_1_percent_w", watts(50.0, "left", "a4", "probe-a"));
    EXPECT_THAT(power_table_text(session), testing::IsEmpty());  // one row says no more than its test
    EXPECT_THAT(show_text(session), Not(HasSubstr("total power")));
    add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    const std::string text = show_text(session);
    EXPECT_THAT(text, HasSubstr("POWER TABLE"));
    EXPECT_THAT(text, HasSubstr("loses 0.4576 ± 0.0061 dB"));
}

}  // namespace
}  // namespace assay::cli
