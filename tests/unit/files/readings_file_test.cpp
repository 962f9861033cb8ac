// Readings that came with a session from elsewhere: only numbers that a meter could have shown.
#include "cli/files/session/readings_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/folder.h"

namespace assay::cli {
namespace {

TEST(ReadingsFile, TakesOnlyNumbersWithinTheirField) {
    const Folder folder;
    Job job;
    job.tests.emplace_back();
    job.tests.front().id = "power";
    folder.write("readings.toml", "[power]\nsupply_idle_v = 13.8\n");
    ASSERT_TRUE(apply_readings(folder.path, job));
    EXPECT_EQ(job.tests.front().number("supply_idle_v"), 13.8);
    for (const char* wrong : {"nan", "inf", "-inf", "1e300", "\"13.8\""}) {
        folder.write("readings.toml", std::string("[power]\nsupply_idle_v = ") + wrong + "\n");
        const auto read = apply_readings(folder.path, job);
        ASSERT_FALSE(read) << wrong;
        EXPECT_THAT(read.error().text,
                    testing::HasSubstr("readings.toml:2: \"supply_idle_v\" is no reading"));
    }
}

}  // namespace
}  // namespace assay::cli
