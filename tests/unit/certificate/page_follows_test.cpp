// Drawings and texts of the page follow what the test did: which distortion, how long a burst, no claim at
// all.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cli/certificate/certificate.h"
#include "cli/certificate/plots/plots.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

void set_limit_on(Session& session, const std::string& limit_on) {
    for (auto& [name, value] : session.tests[0].result.conditions) {
        if (name == "limit_on") value = limit_on;
    }
}

TEST(LevelPlot, DrawsTheDistortionThatTheLimitsAreOn) {
    Session session = hand_made::amplifier();
    for (const auto& [limit_on, column, words] :
         {std::tuple{"thd", "thd_percent", "distortion (THD)"},
          {"thd+n", "thd_plus_noise_percent", "distortion and noise (THD+N)"}}) {
        set_limit_on(session, limit_on);
        const auto plot = level_plot(session, session.tests[0]);
        ASSERT_TRUE(plot);
        const PlotPanel& panel = plot->sheet.panels.front();
        EXPECT_EQ(panel.y.words, words);
        const Numbers& numbers = session.tests[0].result.loads[0].second;
        EXPECT_EQ(panel.curves[0].y, *numbers.curves[0].second.find(column));
        EXPECT_EQ(panel.curves[0].unit, std::string(limit_on) == "thd" ? "% THD" : "% THD+N");
    }
}

TEST(PowerBandwidthPlot, NamesTheDistortionThatTheLimitsAreOn) {
    Session session = hand_made::amplifier();
    TestRecord& record = session.tests[0];
    record.result.measure = "power-bandwidth";
    record.result.conditions.emplace_back("limit_percent", 1.0);
    set_limit_on(session, "thd+n");
    const analysis::Curve curve{{{"frequency_hz", {20.0, 1000.0, 20000.0}},
                                 {"power_w", {40.0, 45.0, 41.0}},
                                 {"power_at_10_percent_w", {50.0, 55.0, 51.0}}}};
    record.result.loads.resize(1);
    record.result.loads[0].second.curves = {{"power", curve}};
    const auto plot = power_bandwidth_plot(session, record);
    ASSERT_TRUE(plot);
    ASSERT_EQ(plot->sheet.panels[0].curves.size(), 2U);
    EXPECT_EQ(plot->sheet.panels[0].curves[0].name, "load-a, 1 % THD+N");
    EXPECT_EQ(plot->sheet.panels[0].curves[1].name, "load-a, 10 % THD+N");
}

TEST(Methods, TellTheBurstsThatWerePlayed) {
    Session session = hand_made::amplifier();
    session.tests[0].result.measure = "burst-power";
    session.tests[0].result.conditions = {
        {"frequency_hz", 50.0}, {"on_ms", 200.0}, {"off_ms", 800.0}, {"off_below_db", 26.0}};
    const std::string page = certificate_page(session, {});
    EXPECT_THAT(page,
                HasSubstr("Bursts of 200 ms were played, with the tone 26 dB lower for 800 ms between them"));
    EXPECT_THAT(page, Not(HasSubstr("twenty cycles")));
}

TEST(FirstSheet, WithoutClaimsAndWithTheLongestTextsIsStillAPage) {
    // Wide letters in every line, the lesser paper, a banner, findings, and nothing claimed.
    std::string wide;
    for (int i = 0; i < 200; ++i) wide += "\u97F3";
    Session session = hand_made::powers();
    session.simulated = true;
    session.claims.clear();
    session.unit.maker = session.unit.model = session.unit.serial = session.unit.condition = wide;
    session.unit.repairs = session.unit.sellers_note = wide;
    PageOptions options;
    options.paper = Paper::letter;
    const std::string page = certificate_page(
        session, {{"power-4-ohm-level.svg", "<svg viewBox=\"0 0 500 340\"></svg>"}}, options);
    EXPECT_THAT(page, HasSubstr("Nothing was claimed of this unit"));
}

TEST(Claims, OfNothingMeasuredAsNothingHaveARulerWithoutNonsense) {
    Session session = hand_made::amplifier();
    session.claims[0].measured = analysis::exact(0.0, "V");
    session.claims[0].limit = {{}, 0.0};
    const std::string page = certificate_page(session, {});
    EXPECT_THAT(page, Not(HasSubstr("nan")));
    session.claims[0].measured->value = 1e-310;  // less than any double holds in full
    session.claims[0].limit = {{}, 2e-310};
    EXPECT_THAT(certificate_page(session, {}), Not(HasSubstr("nan")));
}

}  // namespace
}  // namespace assay::cli
