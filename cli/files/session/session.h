// A finished session: everything that `session.json` holds.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "capture/bench.h"
#include "cli/measures/job.h"
#include "cli/measures/measure.h"
#include "cli/measures/result.h"

namespace assay::cli {

struct TestRecord {
    std::string id{};
    std::vector<Take> takes{};
    TestResult result{};
};

struct Session {
    std::string program_version{};
    std::string created{};  // ISO 8601, local time with offset
    std::string number{};   // unique certificate number
    bool simulated = false;
    Unit unit{};
    capture::Bench bench{};
    std::vector<TestRecord> tests{};
    std::vector<JudgedClaim> claims{};
    std::optional<RatingStatement> rating{};

    const TestRecord* find(const std::string& id) const {
        for (const TestRecord& record : tests) {
            if (record.id == id) return &record;
        }
        return nullptr;
    }
};

}  // namespace assay::cli
