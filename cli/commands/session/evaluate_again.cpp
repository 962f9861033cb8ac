#include "cli/commands/session/evaluate_again.h"

#include <algorithm>

#include "cli/commands/live/live_words.h"
#include "cli/commands/session/kept_files.h"
#include "cli/commands/session/setups.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/session/readings_file.h"
#include "cli/measures/judgement/claims.h"
#include "cli/measures/readings.h"

namespace assay::cli {
namespace {

/// The takes of a record with their captures opened anew. What a device said while it recorded stands in no
/// file, and is kept.
capture::Result<std::vector<Take>> reopened(const TestRecord& record) {
    std::vector<Take> takes;
    for (const Take& old : record.takes) {
        auto recording = capture::open_recording(old.recording.path);
        if (!recording) {
            capture::Fault fault = recording.error();
            fault.text = "test \"" + record.id + "\": " + fault.text;
            return tl::unexpected(fault);
        }
        recording->flags = old.recording.flags;
        takes.push_back({old.tone, std::move(*recording)});
    }
    return takes;
}

}  // namespace

capture::Result<Session> evaluate_again(const Session& before, const std::filesystem::path& folder) {
    auto bench = read_bench(folder / "bench.toml");
    if (!bench) return tl::unexpected(bench.error());
    auto job = read_job(folder / "job.toml", *bench, bench->sample_rate_hz);
    if (!job) return tl::unexpected(job.error());
    if (const auto read = apply_readings(folder, *job); !read) return tl::unexpected(read.error());
    name_kept_files(*job);
    name_kept_files(*bench);

    Session again;
    again.program_version = before.program_version;
    again.created = before.created;
    again.number = before.number;
    again.simulated = before.simulated;
    again.unit = job->unit;
    again.rating = job->rating;
    again.bench = *bench;
    const JobOnBench all{&*job, &*bench, folder, &again.tests, before.created};
    for (const Test& test : job->tests) {
        const TestRecord* old = before.find(test.id);
        if (old == nullptr) continue;  // told as missing by the comparison
        auto takes = reopened(*old);
        if (!takes) return tl::unexpected(takes.error());
        again.tests.push_back({test.id, std::move(*takes), {}});
        TestRecord& record = again.tests.back();
        const Measure* measure = find_measure(test.measure);
        if (old->result.fault && record.takes.empty() && measure->plays) {
            // Nothing was recorded: that it failed is all that there is.
            record.result = old->result;
            continue;
        }
        Setup setup = setup_for(all, test);
        setup.live = was_live(*old);
        record.result = measure->evaluate(setup, record.takes);
        if (!record.result.fault) note_readings(test, record.result);
        if (!setup.live) continue;
        if (!record.result.fault) note_device_flags(record);
        note_second_clock(*bench, record.result);
        word_for_live(record.result);
    }
    for (const Claim& claim : job->claims) {
        const TestRecord* record = again.find(claim.test);
        again.claims.push_back(
            judge_claim(claim, *job, *bench, record == nullptr ? nullptr : &record->result));
    }
    return again;
}

}  // namespace assay::cli
