// Texts of the page as a reader of paper sees them.
#include <gtest/gtest.h>

#include "cli/certificate/page/parts.h"

namespace assay::cli {
namespace {

TEST(PageWords, CommandsStandInQuotationMarks) {
    EXPECT_EQ(quoted_commands("run `assay calibrate loopback`, then `assay run`"),
              "run “assay calibrate loopback”, then “assay run”");
    EXPECT_EQ(quoted_commands("a serial with a ` in it"), "a serial with a ` in it");
    EXPECT_EQ(quoted_commands("run `assay run"), "run `assay run");
}

}  // namespace
}  // namespace assay::cli
