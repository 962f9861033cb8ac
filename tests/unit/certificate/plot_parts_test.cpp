// Ticks, widths of texts, outlines of bands, and a program that answers before it has heard all.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "cli/certificate/plots/gnuplot.h"
#include "cli/certificate/plots/plot_sheet.h"
#include "cli/certificate/plots/plot_ticks.h"
#include "cli/certificate/plots/text_width.h"
#include "cli/comparison/paired_curve.h"
#include "cli/files/posix.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

TEST(Ticks, AreThoseThatPeopleUse) {
    EXPECT_EQ(
        logarithmic_ticks(10.0, 20000.0),
        "\"10\" 10, \"20\" 20, \"50\" 50, \"100\" 100, \"200\" 200, \"500\" 500, \"1k\" 1000, \"2k\" 2000, "
        "\"5k\" 5000, \"10k\" 10000, \"20k\" 20000");
    EXPECT_EQ(logarithmic_ticks(0.001, 100.0, false),
              "\"0.001\" 0.001, \"0.01\" 0.01, \"0.1\" 0.1, \"1\" 1, \"10\" 10, \"100\" 100");
    EXPECT_THAT(logarithmic_ticks(10.0, 100.0, true), Not(HasSubstr("\"10\"")));
    EXPECT_THAT(logarithmic_ticks(5.5, 9.0), HasSubstr("\"6\" 6")) << "a short axis has numbers between";
    EXPECT_EQ(tick_text(0.00002), "0.00002");
    EXPECT_EQ(tick_text(-1500.0), "-1.5k");
}

TEST(Ticks, EndsOfAnAxisAreMovedOutToTheNextNumberOfTheSeries) {
    EXPECT_DOUBLE_EQ(frequency_from(10.4), 10.0);
    EXPECT_DOUBLE_EQ(frequency_from(13.0), 13.0);
    EXPECT_DOUBLE_EQ(frequency_to(19200.0), 20000.0);
    EXPECT_DOUBLE_EQ(frequency_to(40000.0), 40000.0);
    EXPECT_DOUBLE_EQ(series_above(21.0), 50.0);
    EXPECT_DOUBLE_EQ(series_above(0.2), 0.2);
    EXPECT_DOUBLE_EQ(series_above(60.0), 100.0);
    EXPECT_DOUBLE_EQ(series_below(19.99), 10.0);
    EXPECT_DOUBLE_EQ(linear_step(0.0, 30.0), 5.0);
    EXPECT_GT(linear_step(3.0, 3.0), 0.0);
}

TEST(Ticks, AScaleHoldsItsValuesEvenWhereTheyAreAllTheSame) {
    for (const auto& [low, high] : {std::pair{0.0, 0.0}, {29.9, 30.1}, {-80.0, -80.0}, {1e-9, 2e-9}}) {
        const PlotScale scale = scale_around("gain", "dB", low, high);
        EXPECT_LT(scale.from, low);
        EXPECT_GT(scale.to, high);
        EXPECT_GT(scale.step, 0.0);
        EXPECT_LE((scale.to - scale.from) / scale.step, 10.0);
    }
}

TEST(Band, GoesThereAndBackAndIsPartedWhereANumberIsMissing) {
    const auto band = band_along_y({1, 2, 3, 4}, {10, nan, 30, 40}, {1, 1, 2, 3});
    ASSERT_EQ(band.size(), 8U);
    EXPECT_EQ(band[0], (std::pair{1.0, 9.0}));
    EXPECT_EQ(band[1], (std::pair{1.0, 11.0}));
    EXPECT_TRUE(std::isnan(band[2].first));
    EXPECT_EQ(band[3], (std::pair{3.0, 28.0}));
    EXPECT_EQ(band[4], (std::pair{4.0, 37.0}));
    EXPECT_EQ(band[5], (std::pair{4.0, 43.0}));
    EXPECT_EQ(band[6], (std::pair{3.0, 32.0}));
    EXPECT_TRUE(band_along_y({1, 2}, {1, 2}, {}).empty());
}

TEST(TextWidth, CutsWhatIsTooWideAndLeavesTheRest) {
    EXPECT_EQ(text_within("load-a", 290.0), "load-a");
    const std::string cut = text_within(std::string(10000, 'W'), 290.0);
    EXPECT_LE(text_width_px(cut), 290.0);
    EXPECT_THAT(cut, testing::EndsWith("…"));
    EXPECT_GT(text_width_px("WWWW"), text_width_px("iiii"));
}

TEST(PlotTexts, LettersFromRightToLeftStandForThemselves) {
    PlotTexts texts;
    const std::string mark =
        texts.mark("\u05E9\u05DE\u05D0\u05DC") + texts.mark(": 46 W") + texts.mark("\u03A9");
    EXPECT_EQ(texts.put_into(mark), "\u2068\u05E9\u05DE\u05D0\u05DC\u2069: 46 W\u03A9");
}

TEST(PairedCurve, IsReadAlongAStraightLineOverTheLogarithmOfTheFrequency) {
    const analysis::Curve left{{{"frequency_hz", {10, 100, 1000}}, {"magnitude_db", {1, 1, 1}}}};
    const analysis::Curve right{{{"frequency_hz", {10, 1000}}, {"magnitude_db", {0, 4}}}};
    const auto paired = paired_curve(left, right);
    ASSERT_TRUE(paired);
    ASSERT_EQ(paired->points.size(), 3U);
    EXPECT_TRUE(paired->interpolated);
    EXPECT_DOUBLE_EQ(paired->points[1].difference_db(), 1.0);
    const analysis::Curve ohms{{{"frequency_hz", {10}}, {"magnitude_ohm", {8}}, {"phase_deg", {0}}}};
    EXPECT_FALSE(paired_curve(left, ohms)) << "decibels beside ohms";
}

TEST(Program, ThatAnswersBeforeItHasHeardAllIsHeardOut) {
    // cat fills its answer's pipe while most of its input has not been taken yet.
    std::string input(std::size_t{3} << 20U, 'x');
    const auto done = run_program({"cat"}, input, 20.0);
    ASSERT_TRUE(done);
    EXPECT_EQ(done->exit_status, 0);
    EXPECT_TRUE(done->out == input);
}

}  // namespace
}  // namespace assay::cli
