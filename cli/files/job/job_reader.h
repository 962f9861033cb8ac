// The job reader with the tables of measures handed in, so that it can be tested with tables of the test's
// own.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/files/toml/toml_table.h"
#include "cli/measures/job.h"
#include "cli/measures/measure.h"

namespace assay::cli {

struct MeasureTables {
    std::span<const Measure> measures;
    std::span<const Field> common;    // fields that every measure has
    std::span<const Field> readings;  // meter readings that travel with any test

    const Measure* find(const std::string& name) const;
    std::vector<std::string> names() const;
};

[[nodiscard]] capture::Result<Job> parse_job_with(std::string_view text, const std::string& name,
                                                  const capture::Bench& bench, double tone_rate_hz,
                                                  const MeasureTables& tables);

/// A test whose references to the bench are still names.
struct RawTest {
    TomlTable table;
    Test test{};
    const Measure* measure = nullptr;  // none: unknown, and complained of
    std::optional<std::vector<std::string>> loads{};
    std::optional<std::vector<std::string>> inputs{};  // of a line unit, in place of loads
    std::optional<std::string> reference{};
};

struct RawClaim {
    TomlTable table;
    Claim claim{};
    std::optional<std::string> input{};  // of a line unit, in place of load
};

Unit read_unit(const TomlNode& node, Complaints& complaints);
RatingStatement read_rating_table(const TomlNode& node, Complaints& complaints);
RawTest read_test(const TomlNode& node, std::size_t index, UnitKind kind, const MeasureTables& tables,
                  Complaints& complaints);
RawClaim read_claim(const TomlNode& node, std::size_t index, Complaints& complaints);

/// Resolves loads and reference. Inputs that a line unit's test names are added to the bench's loads.
void join_test(RawTest& raw, UnitKind kind, capture::Bench& bench);
/// Test, load and quantity of the claim; a load left out of a test with one load is filled in.
void join_claim(RawClaim& raw, std::span<const RawTest> tests, const capture::Bench& bench);

/// The names that an entry of the quantity table stands for in this test: one for each requested limit.
std::vector<std::string> quantity_names(const QuantityEntry& entry, const Measure& measure, const Test& test);

/// Why a test's id cannot be used as a file's name, empty if it can.
std::string id_fault(std::string_view id);

}  // namespace assay::cli
