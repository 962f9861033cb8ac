// Jobs that were drawn (any_job_test.cpp) and found wanting, made small and kept: what each broke is told
// beside it.
#include <gtest/gtest.h>

#include "property/played_case.h"

namespace assay::drawn {
namespace {

constexpr const char* bench_of_two = R"([sound]
source = "simulated"
sample_rate_hz = 48000
[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = 0.0
[[input]]
name = "probe-1"
channel = 1
volts_at_full_scale = 1.95
attenuation = 25
[[input]]
name = "probe-2"
channel = 2
volts_at_full_scale = 1.95
attenuation = 2
[[load]]
name = "load-1"
resistance_ohm = 4.0
plus = "probe-1"
[[load]]
name = "open"
resistance_ohm = inf
plus = "probe-1"
)";

void played(const std::string& job, const std::string& words) {
    const CaseFolder folder(false);
    folder.put("bench.toml", bench_of_two);
    folder.put("job.toml", job);
    const Outcome outcome = play(folder);
    EXPECT_EQ(outcome.words, words);
    EXPECT_EQ(outcome.broken, std::vector<std::string>{});
}

}  // namespace

// The session was to hold its ohms, and JSON has no infinity: the program ended in an assert.
TEST(KeptJobs, DistortionAtAnOpenLoad) {
    played("[[test]]\nid = \"open\"\nmeasure = \"distortion\"\nloads = [\"open\"]\n", "measured");
}

// The second input is overloaded, and the numbers of the first stayed beside the fault: an assert again.
TEST(KeptJobs, ClippingPowerOfTwoWithTheSecondOverloaded) {
    played(R"([unit]
kind = "line"
[[test]]
id = "both"
measure = "clipping-power"
inputs = ["probe-1", "probe-2"]
to_dbfs = -6
from_dbfs = -17
step_db = 3
)",
           "not trusted");
}

}  // namespace assay::drawn
