// What printf's %g would write, as far as it writes no exponent; worked by hand elsewhere.
#include "analysis/uncertainty/rounded_text.h"

#include <gtest/gtest.h>

namespace assay::analysis {
namespace {

TEST(RoundedText, HoldsSoManyDigitsAndNoPowerOfTen) {
    EXPECT_EQ(rounded_text(41.2345, 3), "41.2");
    EXPECT_EQ(rounded_text(0.012345, 3), "0.0123");
    EXPECT_EQ(rounded_text(-7.0, 3), "-7");
    EXPECT_EQ(rounded_text(0.0, 3), "0");
    EXPECT_EQ(rounded_text(999.4, 3), "999");
    EXPECT_EQ(rounded_text(999.6, 3), "1000");
    EXPECT_EQ(rounded_text(1250.0, 3), "1250");
    EXPECT_EQ(rounded_text(-1257.0, 3), "-1260");
    EXPECT_EQ(rounded_text(123456.0, 4), "123500");
}

}  // namespace
}  // namespace assay::analysis
