// The table of power from results made by hand. Expected values are closed forms worked out beside each
// check: Ohm's law, the law of propagation (JCGM 100:2008, 5.2, correlated inputs), least squares on two and
// three points.
#include "cli/files/power_table.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "cli/files/power_text.h"
#include "cli/files/rating_report.h"
#include "cli/files/show.h"
#include "cli/measures/claims.h"
#include "cli/measures/rating.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using testing::HasSubstr;
using testing::Not;

constexpr double input_doubt = 0.012;  // of power
constexpr double meter_doubt = 0.006;  // of power, shared by both inputs
constexpr double ohm_doubt = 0.009;
constexpr double noise_doubt = 0.0005;

/// Watts into a load: its input's scale, the meter behind both scales, the load, and noise of the test's own.
Quantity watts(double value, const std::string& test, const std::string& load, const std::string& input) {
    return {value,
            "W",
            {{"input:" + input + ":scale", input_doubt * value},
             {"meter:bench-meter", meter_doubt * value},
             {"load:" + load + ":resistance", -ohm_doubt * value},
             {"test:" + test + ":" + load + ":noise", noise_doubt * value}}};
}

capture::Load load(const std::string& name, double ohm, std::size_t plus, bool bridged = false) {
    capture::Load made;
    made.name = name;
    made.resistance_ohm = ohm;
    made.resistance_doubts = {{"load:" + name + ":resistance", ohm_doubt}};
    made.driven_by = {0};
    made.plus = plus;
    if (bridged) made.minus = 1;
    return made;
}

Session empty_session() {
    Session session = hand_made::amplifier();
    session.tests.clear();
    session.claims.clear();
    session.unit.minimum_load_ohm.reset();
    session.unit.minimum_bridged_load_ohm.reset();
    session.bench.loads = {load("a4", 4.0, 0),
                           load("b4", 4.0, 1),
                           load("a2", 2.0, 0),
                           load("a8", 8.0, 0),
                           load("bridge4", 4.0, 0, true),
                           load("bridge8", 8.0, 0, true)};
    return session;
}

using Watts = std::vector<std::pair<std::string, double>>;

TestRecord& add_test(Session& session, const std::string& id, const Watts& loads, double idle_v = 14.4,
                     double loaded_v = 13.9) {
    TestRecord record;
    record.id = id;
    record.result.measure = "clipping-power";
    record.result.conditions = {{"frequency_hz", 997.0},
                                {"limit_on", std::string("thd+n")},
                                {"supply_idle_v", idle_v},
                                {"supply_loaded_v", loaded_v}};
    for (const auto& [name, value] : loads) {
        Findings findings;
        findings.add("power_at_1_percent_w",
                     watts(value, id, name, name.starts_with("b4") ? "probe-b" : "probe-a"));
        record.result.loads.emplace_back(name, std::move(findings));
    }
    session.tests.push_back(std::move(record));
    return session.tests.back();
}

const PowerLine* line_of(const PowerTable& table, LineKind kind, const std::vector<std::string>& tests) {
    for (const PowerLine& line : table.lines) {
        if (line.kind == kind && line.tests == tests) return &line;
    }
    return nullptr;
}

double figure(const Findings& figures, const std::string& name) {
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
    const Findings& figures = table.row("both")->figures;
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
    const Findings high = with(8.0, OutputStage::not_stated);
    EXPECT_NEAR(figure(high, "efficiency_percent"), 80.036, 1e-3);
    ASSERT_EQ(high.warnings.size(), 1U);
    EXPECT_EQ(high.warnings[0].code, "efficiency-unlikely");
    EXPECT_TRUE(with(8.0, OutputStage::switching).warnings.empty());
    const Findings impossible = with(6.0, OutputStage::switching);
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

std::string state_of(const Session& session, const std::string& code) {
    for (const Requirement& wanted : rating_requirements(session)) {
        if (wanted.code == code) return done_words(wanted.done);
    }
    return "none";
}

TEST(Rating, ListsWhatWasDoneAndNeverSaysComplies) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "mobile-14.4-v";
    add_test(session, "left", {{"a4", 50.0}});
    add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    EXPECT_EQ(state_of(session, "supply"), "done");  // 13.9 V is within 5 % of 14.4 V
    EXPECT_EQ(state_of(session, "load"), "done");
    EXPECT_EQ(state_of(session, "limit"), "done");     // THD+N
    EXPECT_EQ(state_of(session, "channels"), "done");  // the test with both is chosen
    EXPECT_EQ(state_of(session, "band"), "not done");
    EXPECT_EQ(state_of(session, "noise"), "not done");
    const std::string text = rating_text(session);
    EXPECT_THAT(text, HasSubstr("by a method based on"));
    EXPECT_THAT(text, Not(HasSubstr("compl")));
    session.tests.pop_back();
    EXPECT_EQ(state_of(session, "channels"), "not done");
    session.rating->basis = "mobile-12-v";
    EXPECT_EQ(state_of(session, "supply"), "not done");
    EXPECT_EQ(state_of(session, "limit"), "not done");  // that one is on THD
    session.rating->basis = "home-us";
    EXPECT_EQ(state_of(session, "load"), "not done");
    EXPECT_EQ(state_of(session, "preconditioning"), "not known");
    EXPECT_EQ(state_of(session, "held"), "not known");
    EXPECT_EQ(state_of(session, "ambient"), "not known");
    session.rating->rated_power_w = 80.0;
    session.rating->preconditioning_minutes = 60.0;
    session.rating->preconditioning_w = 10.0;                            // an eighth
    session.rating->held_minutes = 4.0;                                  // of 5
    session.tests[0].result.conditions.emplace_back("ambient_c", 24.0);  // of 25
    EXPECT_EQ(state_of(session, "preconditioning"), "done");
    EXPECT_EQ(state_of(session, "held"), "not done");
    EXPECT_EQ(state_of(session, "ambient"), "not done");
}

/// What an endurance test of one channel into 8 ohm, 80 W rated, says of five minutes.
std::string held_state(double minutes, double mean_w, const std::string& load = "a8", bool noise = false) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "home-us";
    session.rating->rated_power_w = 80.0;
    session.rating->channels = 1.0;
    TestRecord record;
    record.id = "held";
    record.result.measure = "endurance";
    if (noise) record.result.conditions.emplace_back("crest_factor_asked_db", 12.0);
    Findings findings;
    findings.add("run_minutes", {minutes, "min", {{"test:held:time", 0.02}}});
    findings.add("mean_power_w", watts(mean_w, "held", load, "probe-a"));
    record.result.loads.emplace_back(load, std::move(findings));
    session.tests.push_back(std::move(record));
    return state_of(session, "held");
}

TEST(Rating, FullPowerIsHeldByAnEnduranceTestThatHeldIt) {
    EXPECT_EQ(held_state(5.0, 81.0), "done");
    EXPECT_EQ(held_state(4.0, 81.0), "not done");
    EXPECT_EQ(held_state(30.0, 81.0), "done");
    EXPECT_EQ(held_state(5.0, 60.0), "not known");              // that it lasts at less says nothing
    EXPECT_EQ(held_state(5.0, 81.0, "a4"), "not known");        // 4 ohm are not the basis
    EXPECT_EQ(held_state(5.0, 81.0, "a8", true), "not known");  // music-like noise
}

// A test of power against frequency counts only where it is what the basis asks for.
TEST(Rating, BandIsJudgedOnlyLikeWithLike) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "mobile-14.4-v";
    TestRecord& both = add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    TestRecord band = both;
    band.id = "band";
    band.result.measure = "power-bandwidth";
    band.result.conditions = {
        {"limit_percent", 1.0}, {"limit_on", std::string("thd+n")}, {"distortion_bandwidth_hz", 20000.0}};
    for (auto& [name, findings] : band.result.loads) {
        findings = {};
        findings.curves.emplace_back("power", analysis::Curve{{{"frequency_hz", {20.0, 1000.0, 20000.0}},
                                                               {"power_w", {41.0, 45.0, 43.0}}}});
    }
    const auto state = [&](const auto& change) {
        Session changed = session;
        changed.tests.push_back(band);
        change(changed.tests.back().result);
        return state_of(changed, "band");
    };
    EXPECT_EQ(state([](TestResult&) {}), "done");
    EXPECT_EQ(state([](TestResult& r) { r.conditions[0].second = 10.0; }), "not done");
    EXPECT_EQ(state([](TestResult& r) { r.conditions[1].second = std::string("thd"); }), "not done");
    EXPECT_EQ(state([](TestResult& r) { r.conditions.erase(r.conditions.begin()); }), "not done");
    EXPECT_EQ(state([](TestResult& r) { r.loads.pop_back(); }), "not done");
    EXPECT_EQ(state([](TestResult& r) { r.loads[0].second.curves[0].second.columns[0].values[0] = 40.0; }),
              "not done");
    session.tests.push_back(band);
    EXPECT_THAT(rating_text(session), HasSubstr("fall of gain"));
}

analysis::Verdict verdict_at(double loaded_v, const std::string& limit_on, std::string& reason) {
    Session session = empty_session();
    TestRecord& record = add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}}, 13.0, loaded_v);
    record.result.conditions[1].second = limit_on;
    Job job;
    job.rating = RatingStatement{"mobile-12-v", 40.0, 2.0, {}, {}, {}};
    job.tests.push_back({"both", "clipping-power", {0, 1}, {}, {}, {}});
    Claim claim;
    claim.test = "both";
    claim.load = "a4";
    claim.quantity = "power_at_1_percent_w";
    claim.at_least = 40.0;
    job.claims.push_back(claim);
    apply_rating(job, session.bench);
    const JudgedClaim judged = judge_claim(job.claims[0], job, session.bench, &record.result);
    reason = judged.reason;
    return judged.verdict;
}

TEST(Rating, ARangeOfSupplyIsJudgedByItsNearerEndWithTheFivePercentOfAnyClaim) {
    std::string reason;
    // 12 V less 5 % is 11.4 V, 12.6 V and 5 % are 13.23 V.
    EXPECT_EQ(verdict_at(11.41, "thd", reason), analysis::Verdict::met);
    EXPECT_THAT(reason, HasSubstr("mobile-12-v"));
    EXPECT_EQ(verdict_at(13.22, "thd", reason), analysis::Verdict::met);
    EXPECT_EQ(verdict_at(11.38, "thd", reason), analysis::Verdict::undecided);
    EXPECT_THAT(reason, HasSubstr("12 to 12.6 V"));
    EXPECT_EQ(verdict_at(13.25, "thd", reason), analysis::Verdict::undecided);
    // THD+N is reached before THD: such watts do not flatter.
    EXPECT_EQ(verdict_at(12.3, "thd+n", reason), analysis::Verdict::met);
}

TEST(Rating, FillsOnlyWhatTestsAndClaimsLeaveOpen) {
    Session session = empty_session();
    Job job;
    job.rating = RatingStatement{"mobile-14.4-v", {}, 2.0, {}, {}, {}};
    job.tests.push_back({"own", "clipping-power", {0}, {}, {{"limit_on", std::string("thd")}}, {}});
    job.tests.push_back({"open", "clipping-power", {4}, {}, {}, {}});  // bridged
    for (const char* quantity : {"power_at_1_percent_w", "clip_onset_positive_v"}) {
        Claim claim;
        claim.test = "open";
        claim.quantity = quantity;
        claim.at_supply_volts = 13.2;
        job.claims.push_back(claim);
    }
    apply_rating(job, session.bench);
    EXPECT_EQ(job.tests[0].text("limit_on"), "thd");
    EXPECT_EQ(job.tests[1].text("limit_on"), "thd+n");
    EXPECT_EQ(job.claims[0].at_supply_volts, 13.2);
    EXPECT_EQ(job.claims[0].at_load_ohm, 4.0);
    EXPECT_EQ(job.claims[0].channels_driven, std::nullopt);  // a bridge takes both halves
    EXPECT_EQ(job.claims[1].at_load_ohm, std::nullopt);      // no rating is in volts
}

}  // namespace
}  // namespace assay::cli
