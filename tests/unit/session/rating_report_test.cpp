// What was done of a rating's basis, from results made by hand.
#include "cli/report/rating_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "cli/measures/judgement/claims.h"
#include "cli/measures/judgement/rating.h"
#include "cli/report/power_text.h"
#include "unit/session/power_sessions.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

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
    Numbers numbers;
    numbers.add("run_minutes", {minutes, "min", {{"test:held:time", 0.02}}});
    numbers.add("mean_power_w", watts(mean_w, "held", load, "probe-a"));
    record.result.loads.emplace_back(load, std::move(numbers));
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
    for (auto& [name, numbers] : band.result.loads) {
        numbers = {};
        numbers.curves.emplace_back("power", analysis::Curve{{{"frequency_hz", {20.0, 1000.0, 20000.0}},
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

// A load without its curve was not measured over the band, whatever the others say.
TEST(Rating, ALoadWithoutACurveLeavesTheBandOpen) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "mobile-14.4-v";
    TestRecord& both = add_test(session, "both", {{"a4", 45.0}, {"b4", 44.0}});
    TestRecord band = both;
    band.id = "band";
    band.result.measure = "power-bandwidth";
    band.result.conditions = {{"limit_percent", 1.0}, {"limit_on", std::string("thd+n")}};
    for (auto& [name, numbers] : band.result.loads) numbers = {};
    session.tests.push_back(band);
    EXPECT_EQ(state_of(session, "band"), "not done");
    const analysis::Curve curve{{{"frequency_hz", {20.0, 20000.0}}, {"power_w", {41.0, 43.0}}}};
    session.tests.back().result.loads[0].second.curves.emplace_back("power", curve);
    EXPECT_EQ(state_of(session, "band"), "not done");
    session.tests.back().result.loads[1].second.curves.emplace_back("power", curve);
    EXPECT_EQ(state_of(session, "band"), "done");
}

/// What the levels of two channels say of distortion from 0.25 W up to the rated power.
std::string low_power_state(const std::vector<double>& watts_a, const std::vector<double>& percent_a,
                            bool second_reaches_limit) {
    Session session = empty_session();
    session.rating = RatingStatement{};
    session.rating->basis = "home-us";
    TestRecord& both = add_test(session, "both", {{"a8", 45.0}, {"b4", 44.0}});
    const auto levels = [](const std::vector<double>& watts, const std::vector<double>& percent) {
        return analysis::Curve{{{"power_w", watts}, {"thd_plus_noise_percent", percent}}};
    };
    both.result.loads[0].second.curves.emplace_back("level", levels(watts_a, percent_a));
    both.result.loads[1].second.curves.emplace_back("level", levels({0.1, 1.0, 40.0}, {0.3, 0.1, 0.2}));
    if (!second_reaches_limit) both.result.loads[1].second.quantities.clear();
    return state_of(session, "from-low-power");
}

TEST(Rating, DistortionFromLowPowerIsKnownOnlyWithTheLevelsOfEveryLoad) {
    EXPECT_EQ(low_power_state({0.1, 1.0, 40.0}, {0.5, 0.1, 0.3}, true), "done");
    EXPECT_EQ(low_power_state({0.1, 1.0, 40.0}, {0.5, 1.1, 0.3}, true), "not done");
    EXPECT_EQ(low_power_state({0.1, 1.0, 40.0}, {0.5, 0.1, 0.3}, false), "not known");
    EXPECT_EQ(low_power_state({}, {}, true), "not known");                   // a file from elsewhere
    EXPECT_EQ(low_power_state({1.0, 40.0}, {0.1, 0.3}, true), "not known");  // the levels begin above it
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
