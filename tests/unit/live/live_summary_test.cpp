// What is told before the first sound, against the times and levels that the job itself asks for.
#include "cli/commands/live/live_summary.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "cli/files/job/job_file.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;

std::string summary_of(const std::string& test) {
    capture::Bench bench;
    bench.sample_rate_hz = 48000;
    bench.outputs = {capture::Output{.name = "drive", .volts_at_full_scale = 2.0}};
    bench.inputs = {capture::Input{.name = "probe", .channel = 1, .volts_at_full_scale = 2.0}};
    capture::Load load;
    load.name = "load";
    load.resistance_ohm = 4.0;
    load.driven_by = {0};
    bench.loads = {load};
    const auto job = parse_job("[unit]\nkind = \"amplifier\"\n[[test]]\nid = \"t\"\n" + test, "job.toml",
                               bench, bench.sample_rate_hz);
    EXPECT_TRUE(job) << job.error().text;
    return job ? live_summary(*job, bench) : std::string();
}

TEST(LiveSummary, ALevelHeldForMinutesIsToldInMinutes) {
    EXPECT_THAT(
        summary_of("measure = \"endurance\"\nloads = [\"load\"]\nminutes = 60.0\ndrive_dbfs = -30.0\n"),
        HasSubstr("up to -30.0 dBFS, at most 61 min, at load"));
}

TEST(LiveSummary, ALevelThatIsFoundFirstIsNotLeftOut) {
    EXPECT_THAT(summary_of("measure = \"endurance\"\nloads = [\"load\"]\nminutes = 30.0\npower_w = 5.0\n"),
                HasSubstr("what gives 5 W, at most 30 min, at load"));
}

TEST(LiveSummary, SilenceHasNoLevel) {
    EXPECT_THAT(summary_of("measure = \"noise\"\nloads = [\"load\"]\n"), HasSubstr("silence, at most "));
}

}  // namespace
}  // namespace assay::cli
