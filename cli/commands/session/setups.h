// What each test of a job may know: its bench, the takes of the other tests, the folder of its files.
#pragma once

#include <filesystem>
#include <memory>
#include <vector>

#include "cli/files/session/session.h"
#include "cli/measures/jig/jig_take.h"
#include "cli/measures/job.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// All of it must outlive the setups; `records` may grow while they are used.
struct JobOnBench {
    const Job* job = nullptr;
    const capture::Bench* bench = nullptr;
    std::filesystem::path folder{};  // the session's, where the files that the job names are kept
    const std::vector<TestRecord>* records = nullptr;
    std::string created{};  // when the session was made, ISO 8601
    std::shared_ptr<ReadTakes> read = std::make_shared<ReadTakes>();
};

Setup setup_for(const JobOnBench& all, const Test& test);

/// A fault that comes after a test's numbers: they go.
void set_fault(TestResult& result, const capture::Fault& fault);

/// Was the test played through a sound card by this program?
bool was_live(const TestRecord& record);
/// What the device said of itself goes with the numbers: asked and got among the conditions, troubles as
/// warnings.
void note_device_flags(TestRecord& record);

}  // namespace assay::cli
