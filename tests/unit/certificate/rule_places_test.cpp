#include "cli/certificate/plots/rule_places.h"

#include <gtest/gtest.h>

#include <cmath>

namespace {

using assay::cli::PlotPanel;
using assay::cli::PlotScale;
using assay::cli::rule_places;

constexpr double wide_px = 400.0;
constexpr double high_px = 200.0;
const PlotScale volts{"voltage", "V", 0.0, 10.0, false, 0.0};

PlotPanel panel_of(std::vector<assay::cli::PlotRule> rules) {
    PlotPanel panel;
    panel.y = {"distortion", "%", 0.0, 10.0, false, 0.0};
    panel.rules = std::move(rules);
    return panel;
}

TEST(RulePlaces, AFreePanelGivesThePlaceThatIsAskedFor) {
    const auto places =
        rule_places(panel_of({{.value = 5.0, .text = "limit", .place = assay::cli::PlotPlace::left},
                              {.value = 5.0, .text = "claimed", .upright = true, .high = true}}),
                    volts, wide_px, high_px);
    ASSERT_EQ(places.size(), 2U);
    EXPECT_LT(places[0].x, 0.03);
    EXPECT_GT(places[0].y, 0.5) << "above its line";
    EXPECT_LT(places[0].y, 0.6);
    EXPECT_GT(places[1].y, 0.9);
    EXPECT_FALSE(places[1].upwards);
}

TEST(RulePlaces, TextsOfLinesThatLieCloseStandApart) {
    const auto places = rule_places(panel_of({{.value = 5.0, .text = "claimed 60 W", .upright = true},
                                              {.value = 5.1, .text = "claimed 70 W", .upright = true},
                                              {.value = 5.2, .text = "claimed 80 W", .upright = true}}),
                                    volts, wide_px, high_px);
    for (std::size_t i = 0; i < places.size(); ++i) {
        for (std::size_t k = 0; k < i; ++k) {
            const bool beside = std::abs(places[i].x - places[k].x) * wide_px > 12.0;
            const bool above = std::abs(places[i].y - places[k].y) * high_px > 12.0;
            EXPECT_TRUE(beside || above) << i << " and " << k;
        }
    }
}

TEST(RulePlaces, ACurveThatIsInTheWayIsAvoided) {
    PlotPanel panel = panel_of({{.value = 2.0, .text = "limit", .place = assay::cli::PlotPlace::left}});
    // Up and down over the left third, over the whole height.
    assay::cli::PlotCurve curve;
    for (int i = 0; i <= 60; ++i) {
        curve.x.push_back(3.3 * i / 60.0);
        curve.y.push_back(i % 2 == 0 ? 0.0 : 10.0);
    }
    panel.curves.push_back(curve);
    EXPECT_GT(rule_places(panel, volts, wide_px, high_px).front().x, 0.33);
}

TEST(RulePlaces, ATextThatFitsNowhereStillHasAPlaceOnThePanel) {
    const auto places = rule_places(
        panel_of({{.value = 5.0, .text = std::string(300, 'm'), .upright = true}}), volts, wide_px, high_px);
    ASSERT_EQ(places.size(), 1U);
    EXPECT_GE(places[0].x, 0.0);
    EXPECT_LE(places[0].y, 1.0);
}

}  // namespace
