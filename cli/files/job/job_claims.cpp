#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "cli/files/job/job_reader.h"
#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_document.h"
#include "cli/measures/steps/limit_name.h"

namespace assay::cli {

namespace {

constexpr std::string_view limit_mark = "{limit}";
constexpr const char* limits_field = "distortion_limits_percent";

// The limits that the test asks for: its own, or the measure's default, which stands in the field's table as
// text.
std::vector<double> limits_of(const Measure& measure, const Test& test) {
    if (const auto own = test.fields.find(limits_field); own != test.fields.end()) {
        if (const auto* numbers = std::get_if<std::vector<double>>(&own->second)) return *numbers;
    }
    std::vector<double> limits;
    for (const Field& field : measure.fields) {
        if (field.name != limits_field) continue;
        std::string number;
        for (const char c : field.default_text + " ") {
            if ((c >= '0' && c <= '9') || c == '.') {
                number += c;
            } else if (!number.empty()) {
                double limit = 0.0;
                std::from_chars(number.data(), number.data() + number.size(), limit);
                limits.push_back(limit);
                number.clear();
            }
        }
    }
    return limits;
}

// The limit that a name asks for by the pattern of an entry, as text; empty if it does not fit the pattern.
std::string limit_by(const std::string& name, const std::string& pattern) {
    const std::size_t mark = pattern.find(limit_mark);
    if (mark == std::string::npos) return "";
    const std::string_view whole = pattern;
    return limit_as_number(limit_in(name, whole.substr(0, mark), whole.substr(mark + limit_mark.size())));
}

bool at_inputs(const RawTest& test, const capture::Bench& bench) {
    return !test.test.loads.empty() && bench.loads[test.test.loads.front()].bare_input;
}

/// The entry of the claim's quantity; a complaint and none if the measure does not have it.
const QuantityEntry* find_quantity(RawClaim& raw, const RawTest& test, const capture::Bench& bench) {
    const std::string& wanted = raw.claim.quantity;
    std::vector<std::string> all;
    for (const QuantityEntry& entry : test.measure->quantities) {
        if (at_inputs(test, bench) && entry.unit == "W") {
            const auto names = quantity_names(entry, *test.measure, test.test);
            if (std::find(names.begin(), names.end(), wanted) == names.end()) continue;
            raw.table.complain("quantity", in_quotes(wanted) + " is in watts, and a line unit gives volts",
                               "claim volts, decibels or percent");
            return nullptr;
        }
        for (std::string& name : quantity_names(entry, *test.measure, test.test)) {
            if (name == wanted) return &entry;
            all.push_back(std::move(name));
        }
    }
    for (const QuantityEntry& entry : test.measure->quantities) {
        const std::string limit = limit_by(wanted, entry.name);
        if (limit.empty()) continue;
        raw.table.complain(
            "quantity",
            fmt::format("test {} does not ask for {}", in_quotes(test.test.id), in_quotes(wanted)),
            fmt::format("add {} to its {}", limit, limits_field));
        return nullptr;
    }
    raw.table.complain("quantity",
                       fmt::format("measure {} of test {} has no quantity {}", in_quotes(test.measure->name),
                                   in_quotes(test.test.id), in_quotes(wanted)),
                       suggestion(wanted, all));
    return nullptr;
}

void join_load(RawClaim& raw, const RawTest& test, const QuantityEntry& entry, const capture::Bench& bench) {
    Claim& claim = raw.claim;
    std::vector<std::string> loads;
    for (const std::size_t index : test.test.loads) loads.push_back(bench.loads[index].name);
    const bool bare = at_inputs(test, bench);
    const std::string key = raw.input || (bare && claim.load.empty()) ? "input" : "load";
    if (raw.input && !bare) {
        raw.table.complain("input", fmt::format("test {} has no inputs", in_quotes(claim.test)),
                           "input is for tests of a line unit; leave it out, or name a load");
        return;
    }
    if (!entry.per_load) {
        if (claim.load.empty()) return;
        raw.table.complain(key, fmt::format("{} is a quantity of the whole test", in_quotes(claim.quantity)),
                           "leave " + key + " out");
    } else if (claim.load.empty()) {
        if (loads.size() == 1) {
            claim.load = loads.front();
            return;
        }
        raw.table.complain(
            key,
            fmt::format("{} is missing: test {} has {} {}s", key, in_quotes(claim.test), loads.size(), key),
            fmt::format("say which, e.g. {} = ", key) + (loads.empty() ? "\"\"" : in_quotes(loads.front())));
    } else if (std::find(loads.begin(), loads.end(), claim.load) == loads.end()) {
        raw.table.complain(
            key, fmt::format("test {} has no {} {}", in_quotes(claim.test), key, in_quotes(claim.load)),
            suggestion(claim.load, loads));
    }
}

}  // namespace

std::vector<std::string> quantity_names(const QuantityEntry& entry, const Measure& measure,
                                        const Test& test) {
    const std::size_t mark = entry.name.find(limit_mark);
    if (mark == std::string::npos) return {entry.name};
    std::vector<std::string> names;
    for (const double limit : limits_of(measure, test)) {
        names.push_back(std::string(entry.name).replace(mark, limit_mark.size(), limit_in_name(limit)));
    }
    return names;
}

RawClaim read_claim(const TomlNode& node, std::size_t index, Complaints& complaints) {
    RawClaim raw{TomlTable(node, table_label("claim", node, "text", index), complaints)};
    TomlTable& table = raw.table;
    Claim& claim = raw.claim;
    claim.text = table.text("text").value_or("");
    table.require("text", "give the words of the rating or the advert");
    if (table.has("text") && claim.text.empty()) table.name("text");  // complains of an empty one
    claim.test = table.name("test").value_or("");
    table.require("test", "name the test that measures it");
    claim.load = table.name("load").value_or("");
    raw.input = table.name("input");
    table.exclusive({"load", "input"});
    if (raw.input) claim.load = *raw.input;
    claim.quantity = table.name("quantity").value_or("");
    table.require("quantity", "name what is claimed, e.g. quantity = \"power_at_1_percent_w\"");
    claim.at_least = table.number("at_least", {});
    claim.at_most = table.number("at_most", {});
    claim.nominal = table.number("nominal", {});
    claim.within_percent = table.number("within_percent", positive("%", 1e6));
    claim.nominal_impedance_ohm = table.number("nominal_impedance_ohm", positive("ohm", 1e5));
    table.exclusive({"at_least", "at_most", "nominal", "nominal_impedance_ohm"});
    table.require_one({"at_least", "at_most", "nominal", "nominal_impedance_ohm"}, "no limit is given",
                      "give at_least, at_most, nominal with within_percent, or nominal_impedance_ohm");
    if (table.has("nominal_impedance_ohm") && !claim.quantity.empty() && claim.quantity != "minimum_ohm") {
        table.complain("nominal_impedance_ohm", "nominal_impedance_ohm is judged by the lowest impedance",
                       "write quantity = \"minimum_ohm\"");
    }
    const bool beside_others = table.has("at_least") || table.has("at_most") || !table.has("nominal");
    if (table.has("within_percent") && beside_others) {
        table.complain("within_percent", "within_percent goes with nominal only", "take it out");
    }
    if (table.has("nominal")) table.require("within_percent", "say how far from nominal is still met");
    claim.at_supply_volts = table.number("at_supply_volts", positive("V", 1e5));
    claim.at_load_ohm = table.number("at_load_ohm", positive("ohm", 1e9));
    claim.channels_driven = table.number("channels_driven", whole_from_to(1, 256));
    table.finish();
    return raw;
}

void join_claim(RawClaim& raw, std::span<const RawTest> tests, const capture::Bench& bench) {
    std::vector<std::string> ids;
    for (const RawTest& test : tests) {
        ids.push_back(test.test.id);
        if (test.test.id != raw.claim.test) continue;
        const QuantityEntry* entry = find_quantity(raw, test, bench);
        if (entry != nullptr) join_load(raw, test, *entry, bench);
        return;
    }
    raw.table.complain("test", "the job has no test " + in_quotes(raw.claim.test),
                       suggestion(raw.claim.test, ids));
}

}  // namespace assay::cli
