// What a loopback tells of level control and of a changed rate. Closed forms: a cable's gain is one number at
// all levels; a curve cut at half of a lower common rate.
#include "cli/commands/calibrate/loopback_findings.h"

#include <gtest/gtest.h>

namespace assay::cli {
namespace {

std::vector<LoopbackLevel> cable(double gain_db) {
    std::vector<LoopbackLevel> levels;
    for (double level = -60.0; level <= -3.0; level += 3.0) levels.push_back({level, level + gain_db, 0.01});
    return levels;
}

TEST(LoopbackFindings, ACableFollows) {
    EXPECT_TRUE(judge_levels(cable(-4.2), "line"));
}

TEST(LoopbackFindings, LevelControlIsNamed) {
    std::vector<LoopbackLevel> levels = cable(0.0);
    for (LoopbackLevel& level : levels) level.heard_dbfs = 0.5 * level.played_dbfs;
    const auto judged = judge_levels(levels, "line");
    ASSERT_FALSE(judged);
    EXPECT_EQ(judged.error().kind, capture::FaultKind::untrusted_capture);
    EXPECT_NE(judged.error().text.find("does not follow"), std::string::npos);
}

TEST(LoopbackFindings, AGateOnFaintTonesIsNamed) {
    std::vector<LoopbackLevel> levels = cable(0.0);
    levels.front().heard_dbfs = -80.0;
    const auto judged = judge_levels(levels, "line");
    ASSERT_FALSE(judged);
    EXPECT_NE(judged.error().text.find("-60 dBFS"), std::string::npos);
}

TEST(LoopbackFindings, NoiseIsNoLevelControl) {
    std::vector<LoopbackLevel> levels = cable(0.0);
    levels.front() = {-60.0, -59.2, 0.2};
    EXPECT_TRUE(judge_levels(levels, "line"));
}

CardResponse cut_at(double edge_hz, double rate_hz) {
    CardResponse card;
    card.input = "line";
    card.rate_hz = rate_hz;
    for (double f = 10.0; f < 0.45 * rate_hz; f *= 1.03) {
        card.frequency_hz.push_back(f);
        card.magnitude_db.push_back(f < edge_hz ? 0.0 : -59.0);
        card.phase_deg.push_back(0.0);
    }
    return card;
}

TEST(LoopbackFindings, ASlowerRateBehindTheCardIsNamed) {
    const auto judged = judge_band(cut_at(23500.0, 96000.0));
    ASSERT_FALSE(judged);
    EXPECT_NE(judged.error().text.find("48000"), std::string::npos) << judged.error().text;
    const auto other = judge_band(cut_at(21500.0, 96000.0));
    ASSERT_FALSE(other);
    EXPECT_NE(other.error().text.find("44100"), std::string::npos) << other.error().text;
}

TEST(LoopbackFindings, AWholeBandIsFine) {
    EXPECT_TRUE(judge_band(cut_at(1e6, 96000.0)));
    EXPECT_TRUE(judge_band(cut_at(1e6, 48000.0)));
}

}  // namespace
}  // namespace assay::cli
