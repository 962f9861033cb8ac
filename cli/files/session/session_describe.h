// The parts of session.json, each named once for writer and reader alike (see json_archive.h). Internal to
// the session file.
#pragma once

#include "cli/files/session/json_archive.h"
#include "cli/files/session/session.h"

namespace assay::cli {

/// A reference between parts of the bench is a name in the file and an index in memory.
template <class Part>
std::optional<std::size_t> index_of(const std::vector<Part>& parts, const std::string& name) {
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (parts[i].name == name) return i;
    }
    return std::nullopt;
}

void write_bench(JsonWriter& archive, const capture::Bench& bench);
void read_bench_record(JsonReader& archive, capture::Bench& bench);

void write_take(JsonWriter& archive, const Take& take);
/// The capture's path is given inside `folder`; one that leads out of captures/ is refused.
void read_take(JsonReader& archive, const std::filesystem::path& folder, Take& take);

/// `key` is "loads", or "inputs" for what was measured at a line unit.
void write_result(JsonWriter& archive, const TestResult& result, const std::string& key);
void read_result(JsonReader& archive, TestResult& result);

/// The rating's basis as stated, and what was done of it; nothing where none is stated.
void write_rating(JsonWriter& archive, const Session& session);
void read_rating(JsonReader& archive, Session& session);
/// The table of power, made of the results: it is written for others and never read.
void write_power_table(JsonWriter& archive, const Session& session);
/// Why the unit falls short, made of the results; written for others and never read. Nothing where nothing is
/// found.
void write_findings(JsonWriter& archive, const Session& session);

/// Parts of a load's results, each under its own key.
void write_quantities(JsonWriter& archive, const Numbers& numbers);
void write_absent(JsonWriter& archive, const Numbers& numbers);
void write_warnings(JsonWriter& archive, const std::vector<Warning>& warnings);

void write_quantity(JsonWriter& archive, const analysis::Quantity& quantity);
void read_quantity(JsonReader& archive, analysis::Quantity& quantity);

}  // namespace assay::cli
