#include "cli/files/job/job_file.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <map>

#include "cli/files/job/job_order.h"
#include "cli/files/job/job_reader.h"
#include "cli/files/job/job_supply.h"
#include "cli/files/picture/photograph.h"
#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_document.h"
#include "cli/files/toml/toml_tree.h"
#include "cli/files/utf8.h"
#include "cli/measures/judgement/rating.h"

namespace assay::cli {

namespace {

// Captures are files named after the ids, and some file systems take upper and lower case as equal.
void refuse_twins(std::vector<RawTest>& tests) {
    std::map<std::string, std::size_t> seen;
    for (std::size_t i = 0; i < tests.size(); ++i) {
        const auto [first, fresh] = seen.try_emplace(lower_case(tests[i].test.id), i);
        if (fresh) continue;
        const RawTest& other = tests[first->second];
        const bool same = other.test.id == tests[i].test.id;
        tests[i].table.complain("id",
                                fmt::format("{} (line {})",
                                            same ? "another test has this id"
                                                 : "another test's id differs only in upper and lower case",
                                            other.table.line("id")),
                                "give each test its own id");
    }
}

// What only the measure can check: levels against the bench's limits. Its fault begins with the field's name.
void check_with_measure(RawTest& raw, const std::vector<RawTest>& tests, const capture::Bench& bench,
                        double tone_rate_hz) {
    if (!raw.measure->check) return;
    Setup setup{&bench, &raw.test, tone_rate_hz};
    setup.named = [&tests](const std::string& id) -> std::optional<NamedTest> {
        for (const RawTest& other : tests) {
            if (other.test.id == id) return NamedTest{&other.test, {}};
        }
        return std::nullopt;
    };
    const auto checked = raw.measure->check(setup);
    if (checked) return;
    const std::string& text = checked.error().text;
    const std::string field = text.substr(0, std::min(text.find(':'), text.size()));
    raw.table.complain(field, text, checked.error().mend);
}

void check_photographs(TomlTable& table, const Unit& unit) {
    if (unit.photographs.size() > most_photographs) {
        table.complain("photographs", fmt::format("names more than {} photographs", most_photographs),
                       "choose those that show the unit, its serial number and its faults");
    }
}

}  // namespace

const Measure* MeasureTables::find(const std::string& name) const {
    for (const Measure& measure : measures) {
        if (measure.name == name) return &measure;
    }
    return nullptr;
}

std::vector<std::string> MeasureTables::names() const {
    std::vector<std::string> all;
    for (const Measure& measure : measures) all.push_back(measure.name);
    return all;
}

Unit read_unit(const TomlNode& node, Complaints& complaints) {
    TomlTable table(node, "[unit]", complaints);
    Unit unit;
    constexpr std::array kinds{UnitKind::amplifier, UnitKind::driver, UnitKind::line};
    if (const auto index = table.choice("kind", {"amplifier", "driver", "line"})) unit.kind = kinds[*index];
    unit.maker = table.text("maker").value_or("");
    unit.model = table.text("model").value_or("");
    unit.serial = table.text("serial").value_or("");
    unit.condition = table.text("condition").value_or("");
    unit.repairs = table.text("repairs").value_or("");
    unit.sellers_note = table.text("sellers_note").value_or("");
    unit.photographs = table.names("photographs").value_or(std::vector<std::string>{});
    check_photographs(table, unit);
    unit.minimum_load_ohm = table.number("minimum_load_ohm", positive("ohm", 1e9));
    unit.minimum_bridged_load_ohm = table.number("minimum_bridged_load_ohm", positive("ohm", 1e9));
    constexpr std::array stages{OutputStage::linear, OutputStage::switching};
    if (const auto index = table.choice("output_stage", {"linear", "switching"}))
        unit.output_stage = stages[*index];
    table.finish();
    return unit;
}

RatingStatement read_rating_table(const TomlNode& node, Complaints& complaints) {
    TomlTable table(node, "[rating]", complaints);
    RatingStatement rating;
    std::vector<std::string> names;
    for (const RatingBasis& basis : rating_bases()) names.push_back(basis.name);
    if (const auto index = table.choice("basis", names)) rating.basis = names[*index];
    table.require("basis", "name one: " + fmt::format("{}", fmt::join(names, ", ")));
    rating.rated_power_w = table.number("rated_power_w", positive("W", 1e6));
    rating.channels = table.number("channels", whole_from_to(1, 256)).value_or(rating.channels);
    rating.preconditioning_minutes = table.number("preconditioning_minutes", from_to(0.0, 1e5, "min"));
    rating.preconditioning_w = table.number("preconditioning_w", from_to(0.0, 1e6, "W"));
    rating.held_minutes = table.number("held_minutes", from_to(0.0, 1e5, "min"));
    table.finish();
    return rating;
}

capture::Result<Job> parse_job_with(std::string_view text, const std::string& name,
                                    const capture::Bench& bench_as_read, double tone_rate_hz,
                                    const MeasureTables& tables) {
    capture::Bench bench = bench_as_read;  // with the inputs that stand as loads
    const auto root = parse_toml(text, name);
    if (!root) return tl::unexpected(root.error());
    Complaints complaints(name);
    TomlDocument document(*root, complaints);
    Job job;
    if (const TomlNode* unit = document.one("unit")) job.unit = read_unit(*unit, complaints);
    if (const TomlNode* rating = document.one("rating")) job.rating = read_rating_table(*rating, complaints);
    if (job.rating && job.unit.kind == UnitKind::line) {
        TomlTable(*document.one("rating"), "[rating]", complaints)
            .complain("basis", "a rating's basis is for watts, and a line unit gives volts",
                      "take [rating] out, and claim volts, decibels or percent");
    }
    std::vector<RawTest> tests;
    const auto test_nodes = document.list("test");
    for (std::size_t i = 0; i < test_nodes.size(); ++i) {
        tests.push_back(read_test(*test_nodes[i], i, job.unit.kind, tables, complaints));
        check_asked(tests.back());
    }
    tests = spread_over_supplies(std::move(tests));
    std::vector<RawClaim> claims;
    const auto claim_nodes = document.list("claim");
    for (std::size_t i = 0; i < claim_nodes.size(); ++i)
        claims.push_back(read_claim(*claim_nodes[i], i, complaints));
    document.require("test", "the job has no [[test]]", "add one for each thing to measure");
    document.finish();

    // In three rounds, since a slip in one table would be told as another's in the next.
    if (complaints.empty()) {
        refuse_twins(tests);
        for (RawTest& raw : tests) join_test(raw, job.unit.kind, bench);
    }
    if (complaints.empty()) {
        for (RawTest& raw : tests) check_with_measure(raw, tests, bench, tone_rate_hz);
        for (RawClaim& raw : claims) {
            choose_supply(raw, tests);
            join_claim(raw, tests, bench);
        }
    }
    if (!complaints.empty()) return tl::unexpected(complaints.first());
    for (RawTest& raw : tests) job.tests.push_back(std::move(raw.test));
    put_after_those_named(job.tests);
    for (RawClaim& raw : claims) job.claims.push_back(std::move(raw.claim));
    const auto own = static_cast<std::ptrdiff_t>(bench_as_read.loads.size());
    job.bare_inputs.assign(bench.loads.begin() + own, bench.loads.end());
    apply_rating(job, bench);
    return job;
}

capture::Result<Job> parse_job(std::string_view text, const std::string& name, const capture::Bench& bench,
                               double tone_rate_hz) {
    return parse_job_with(text, name, bench, tone_rate_hz,
                          MeasureTables{measure_table(), common_fields(), reading_fields()});
}

capture::Result<Job> read_job(const std::filesystem::path& path, capture::Bench& bench, double tone_rate_hz) {
    const auto text = read_toml_text(path);
    if (!text) return tl::unexpected(text.error());
    auto job = parse_job(*text, path.string(), bench, tone_rate_hz);
    if (job) bench.loads.insert(bench.loads.end(), job->bare_inputs.begin(), job->bare_inputs.end());
    return job;
}

}  // namespace assay::cli
