// Text on a terminal: broken at spaces, what follows below where it belongs.
#include "cli/files/plain_text.h"

#include <gtest/gtest.h>

namespace assay::cli {
namespace {

TEST(BrokenTo, LeavesWhatHasRoom) {
    EXPECT_EQ(broken_to("", 40), "");
    EXPECT_EQ(broken_to("a line\nand another\n", 40), "a line\nand another\n");
    EXPECT_EQ(broken_to("exactly ten", 11), "exactly ten");
}

TEST(BrokenTo, HangsBelowTheLinesOwnStart) {
    EXPECT_EQ(broken_to("one two three four five", 12), "one two\n  three four\n  five");
    EXPECT_EQ(broken_to("    one two three\nnext", 12), "    one two\n      three\nnext");
}

TEST(BrokenTo, HangsBelowTheLastColumn) {
    EXPECT_EQ(broken_to("  name      its value in many words", 24),
              "  name      its value in\n            many words");
}

TEST(BrokenTo, LeavesAWordThatIsLongerThanTheLine) {
    const std::string word(100, 'x');
    EXPECT_EQ(broken_to(word, 40), word);
    EXPECT_EQ(broken_to("see " + word + " there", 40), "see\n  " + word + "\n  there");
}

}  // namespace
}  // namespace assay::cli
