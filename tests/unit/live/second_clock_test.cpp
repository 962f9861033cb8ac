#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cli/commands/live/live_words.h"

// By hand: what the words have to say of a ratio that is given.

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Numbers noted(double clock_ppm, bool shared_clock) {
    capture::Bench bench;
    bench.shared_clock = shared_clock;
    TestResult result;
    result.conditions.emplace_back("clock_ppm", clock_ppm);
    note_second_clock(bench, result);
    return result.whole;
}

TEST(SecondClock, IsNamedWhereTheBenchSaysThatThereIsOne) {
    const Numbers faster = noted(200.0, true);
    ASSERT_THAT(faster.warnings, SizeIs(1));
    EXPECT_EQ(faster.warnings.front().code, "second-clock");
    EXPECT_THAT(faster.warnings.front().text, HasSubstr("200 ppm faster"));
    const Numbers slower = noted(-35.0, true);
    ASSERT_THAT(slower.warnings, SizeIs(1));
    EXPECT_THAT(slower.warnings.front().text, HasSubstr("35 ppm slower"));
}

TEST(SecondClock, IsNoNewsWhereTheBenchSaysSoNorWithinWhatOneClockIsFoundAt) {
    EXPECT_THAT(noted(200.0, false).warnings, IsEmpty());
    EXPECT_THAT(noted(0.3, true).warnings, IsEmpty());
}

TEST(SecondClock, NothingIsSaidWithoutAMeasuredRatio) {
    TestResult result;
    note_second_clock(capture::Bench{}, result);
    EXPECT_THAT(result.whole.warnings, IsEmpty());
}

}  // namespace
}  // namespace assay::cli
