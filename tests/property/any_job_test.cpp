// Any job that passes the checks runs on the simulated bench, or stops with a named reason: never an assert,
// an exception, a number that is none, an exit status without meaning (see played_case.h).
//
// A case is one seed: ASSAY_CASE=SEED draws that one alone and keeps its folder below the one for temporary
// files. Jobs that would sound longer than ASSAY_LONGEST_S seconds are planned and not played.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cstdlib>

#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "property/drawn_job.h"
#include "property/played_case.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;

double longest_s() {
    const char* asked = std::getenv("ASSAY_LONGEST_S");
    return asked != nullptr ? std::atof(asked) : 5.5;
}

void none(const std::vector<std::string>& broken) {
    for (const std::string& promise : broken) RC_LOG(promise);
    RC_ASSERT(broken.empty());
}

/// Draws until a job passes the checks and is short enough to be played. Those before it are refused well, or
/// planned.
std::string try_case(std::uint64_t seed, bool keep) {
    drawn::Draw draw(seed);
    const drawn::CaseFolder folder(keep);
    folder.put("seed.txt", std::to_string(seed));
    folder.put("curve.csv", drawn::curve_csv());
    for (int attempt = 0; attempt < 40; ++attempt) {
        const double oddness = draw.of<double>({0.0, 0.1, 0.3, 1.0});
        const drawn::BenchText text = drawn::bench(draw, oddness);
        const fs::path bench_file = folder.put("bench.toml", text.text);
        const std::string job_text = drawn::job(draw, oddness, text);
        const fs::path job_file = folder.put("job.toml", job_text);
        RC_LOG(fmt::format("ASSAY_CASE={}\n{}\n{}", seed, text.text, job_text));
        auto bench = read_bench(bench_file);
        if (!bench) {
            none(drawn::broken_by_refusal(bench.error(), "bench.toml"));
            continue;
        }
        const auto job = read_job(job_file, *bench, bench->sample_rate_hz);
        if (!job) {
            none(drawn::broken_by_refusal(job.error(), "job.toml"));
            continue;
        }
        if (!(drawn::planned_s(*job, *bench) <= longest_s())) continue;
        const drawn::Outcome outcome = drawn::play(folder);
        none(outcome.broken);
        return outcome.words;
    }
    return "none played";
}

}  // namespace

RC_GTEST_PROP(AnyJob, RunsOrStopsWithANamedReason, ()) {
    const char* asked = std::getenv("ASSAY_CASE");
    const std::string outcome = asked != nullptr ? try_case(std::strtoull(asked, nullptr, 10), true)
                                                 : try_case(drawn::any_seed(), false);
    RC_TAG(outcome);
}

}  // namespace assay::cli
