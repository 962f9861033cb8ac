#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "cli/files/job_reader.h"
#include "cli/files/nearest.h"
#include "cli/files/toml_document.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {

constexpr std::size_t longest_id = 100;  // with an extension it must stay a file's name everywhere

Range range_of(const Field& field) {
    Range range;
    if (field.minimum < field.maximum) range = from_to(field.minimum, field.maximum, field.unit);
    range.unit = field.unit;
    return range;
}

void read_field(TomlTable& table, const Field& field, Test& test) {
    switch (field.type) {
        case FieldType::number:
            if (const auto value = table.number(field.name, range_of(field)))
                test.fields[field.name] = *value;
            break;
        case FieldType::text:
            if (const auto value = table.text(field.name)) test.fields[field.name] = *value;
            break;
        case FieldType::numbers:
            if (const auto value = table.numbers(field.name, range_of(field)))
                test.fields[field.name] = *value;
            break;
        case FieldType::names:
            if (const auto names = table.name_or_names(field.name)) {
                test.fields[field.name] = *names;
                if (names->empty()) table.complain(field.name, field.name + " is empty", "name at least one");
            }
            break;
        case FieldType::choice:
            if (const auto index = table.choice(field.name, field.choices)) {
                test.fields[field.name] = field.choices[*index];
            }
            break;
    }
    if (field.required) {
        const std::string unit = field.unit.empty() ? "" : " (" + field.unit + ")";
        table.require(field.name, fmt::format("add it{}: {}", unit, field.help));
    }
}

bool wants_loads(const Measure& measure) {
    return std::any_of(measure.quantities.begin(), measure.quantities.end(),
                       [](const QuantityEntry& entry) { return entry.per_load; });
}

}  // namespace

std::string id_fault(std::string_view id) {
    if (id.empty()) return "is empty";
    if (id.size() > longest_id) return fmt::format("is longer than {} characters", longest_id);
    const bool plain = std::all_of(id.begin(), id.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
               c == '_';
    });
    if (!plain) return "holds other characters than letters, digits, '-' and '_'";
    const std::string low = lower_case(id);
    if (low == "level-set" || low == "play") return "is the name of a file of our own";
    constexpr std::array devices{"con", "prn", "aux", "nul"};
    const bool port = low.size() == 4 && (low.starts_with("com") || low.starts_with("lpt")) &&
                      low[3] >= '0' && low[3] <= '9';
    if (port || std::find(devices.begin(), devices.end(), low) != devices.end()) {
        return "cannot be a file's name on Windows";
    }
    return "";
}

RawTest read_test(const TomlNode& node, std::size_t index, const MeasureTables& tables,
                  Complaints& complaints) {
    RawTest raw{TomlTable(node, table_label("test", node, "id", index), complaints)};
    TomlTable& table = raw.table;
    Test& test = raw.test;
    for (const auto& [key, line] : table.lines()) test.lines[key] = line;
    if (const auto id = table.text("id")) {
        test.id = *id;
        const std::string fault = id_fault(test.id);
        if (!fault.empty()) {
            table.complain(
                "id", "id " + fault,
                "its capture is named after it: use letters, digits, '-', '_', e.g. \"power-4-ohm\"");
        }
    }
    table.require("id", "name the test, e.g. id = \"power-4-ohm\"");
    if (const auto choice = table.choice("measure", tables.names())) {
        raw.measure = &tables.measures[*choice];
        test.measure = raw.measure->name;
    }
    table.require("measure", "say what is measured, e.g. measure = \"" +
                                 (tables.measures.empty() ? "" : tables.measures.front().name) + "\"");
    raw.loads = table.names("loads");
    raw.reference = table.name("reference");
    for (const Field& field : tables.common) read_field(table, field, test);
    for (const Field& field : tables.readings) read_field(table, field, test);
    table.exclusive({"drive_volts", "drive_dbfs", "power_w"});
    if (raw.measure == nullptr) {
        // Which of these keys are right cannot be said; to complain of them would hide the mistake.
        for (const Measure& measure : tables.measures) {
            for (const Field& field : measure.fields) table.allow(field.name);
        }
        table.finish();
        return raw;
    }
    for (const Field& field : raw.measure->fields) read_field(table, field, test);
    if (wants_loads(*raw.measure)) {
        table.require("loads", "name the loads that are measured together, e.g. loads = [\"load-a\"]");
        if (raw.loads && raw.loads->empty())
            table.complain("loads", "loads is empty", "name at least one load");
    }
    table.finish();
    return raw;
}

void join_test(RawTest& raw, const capture::Bench& bench) {
    TomlTable& table = raw.table;
    std::vector<std::string> load_names;
    for (const capture::Load& load : bench.loads) load_names.push_back(load.name);
    for (const std::string& name : raw.loads.value_or(std::vector<std::string>{})) {
        const auto found = std::find(load_names.begin(), load_names.end(), name);
        if (found == load_names.end()) {
            table.complain("loads", "the bench has no load " + in_quotes(name), suggestion(name, load_names));
            continue;
        }
        raw.test.loads.push_back(static_cast<std::size_t>(found - load_names.begin()));
    }
    // A test that names its loads by what they do has them in that order.
    for (const char* field : {"driven", "idle"}) {
        const auto name = raw.test.text(field);
        if (!name) continue;
        if (raw.loads) table.complain("loads", std::string("loads stands beside ") + field, "take it out");
        const auto found = std::find(load_names.begin(), load_names.end(), *name);
        if (found == load_names.end()) {
            table.complain(field, "the bench has no load " + in_quotes(*name), suggestion(*name, load_names));
            continue;
        }
        raw.test.loads.push_back(static_cast<std::size_t>(found - load_names.begin()));
    }
    if (!raw.reference) return;
    std::vector<std::string> references;
    bool known = false;
    for (std::size_t i = 0; i < bench.inputs.size(); ++i) {
        const capture::Input& input = bench.inputs[i];
        known = known || input.name == *raw.reference;
        if (input.role != capture::InputRole::reference) continue;
        references.push_back(input.name);
        if (input.name == *raw.reference) raw.test.reference = i;
    }
    if (raw.test.reference) return;
    if (known) {
        table.complain(
            "reference", "input " + in_quotes(*raw.reference) + " has another role than \"reference\"",
            "give that input role = \"reference\" in the bench file, if it sits on the unit's own input");
    } else {
        table.complain("reference", "the bench has no input " + in_quotes(*raw.reference),
                       suggestion(*raw.reference, references));
    }
}

}  // namespace assay::cli
