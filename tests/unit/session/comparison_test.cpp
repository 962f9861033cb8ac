// What two sessions say side by side in words, which differences another version may make, and files of
// curves. That the figures are right is tested by scripts, against the law of propagation done by hand.
#include "cli/comparison/comparison.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cli/files/curves/curve_tables.h"
#include "cli/files/session/session_compare.h"
#include "cli/files/session/session_file.h"
#include "support/folder.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

TEST(ComparisonText, NamesTheDistortionThatTheLimitIsOn) {
    Session session = hand_made::amplifier();
    for (auto& [name, value] : session.tests[0].result.conditions) {
        if (name == "limit_on") value = std::string("thd+n");
    }
    const std::string text = comparison_text(compare(session, session, {}), session, session);
    EXPECT_THAT(text, HasSubstr("power at 1 % THD+N"));
    EXPECT_THAT(text, Not(HasSubstr("power at 1 % THD ")));
}

TEST(ComparisonText, ADifferenceOfPercentagesIsInPointsAndNotInPercentOfThem) {
    Session left = hand_made::amplifier();
    left.tests[0].result.loads[0].second.add("thd_percent", hand_made::quantity(0.10, "%", {{"x", 0.001}}));
    Session right = left;
    right.tests[0].result.loads[0].second.quantities.back().second.value = 0.12;
    const std::string text = comparison_text(compare(left, right, {}), left, right);
    // By hand: 0.12 - 0.10; two independent spreads of 0.001, k = 2: 0.0028. Twenty per cent more it is, too.
    EXPECT_THAT(text, HasSubstr("+0.0200 ± 0.0028 points"));
}

TEST(CompareSessions, AClaimThatLostItsLimitIsNoHarmlessDifference) {
    const Session again = hand_made::amplifier();
    Session written = again;
    written.claims[0].limit.at_least.reset();
    const auto found = compare_sessions(session_text(written), again);
    ASSERT_EQ(found.size(), 1U);
    EXPECT_EQ(found[0].where, "claims[0].limit.at_least");
    EXPECT_FALSE(found[0].harmless_in_other_version);
}

TEST(CurveTables, LoadsWhoseNamesLookAlikeHaveAFileEach) {
    const Folder folder;
    Session session = hand_made::amplifier();
    session.tests[0].result.loads[0].first = "Höhe";
    session.tests[0].result.loads[1].first = "Hôhe";
    const auto written = write_curve_tables(session, folder.path);
    ASSERT_TRUE(written);
    ASSERT_EQ(written->size(), 2U);
    EXPECT_NE((*written)[0], (*written)[1]);
    EXPECT_THAT(folder.read((*written)[0].filename()), Not(folder.read((*written)[1].filename())));
}

}  // namespace
}  // namespace assay::cli
