#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <limits>

#include "cli/files/job/job_reader.h"
#include "cli/files/job/job_rows.h"
#include "cli/files/toml/complaints.h"
#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_document.h"
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
        case FieldType::rows:
            if (const auto rows = read_rows(table, field)) test.fields[field.name] = *rows;
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

/// Positions of controls: a text, or a table of positions, which is told as a text ("bass +6, treble flat").
void read_controls(const TomlNode& node, TomlTable& table, Test& test) {
    const TomlNode* controls = node.find("controls");
    if (controls == nullptr || controls->type != TomlNode::Type::table) return;
    table.allow("controls");
    std::string positions;
    for (const auto& [name, position] : controls->entries) {
        std::string text = position.text;
        if (position.type == TomlNode::Type::number) text = fmt::format("{}", position.number);
        if (position.type == TomlNode::Type::boolean) text = position.boolean ? "on" : "off";
        if (text.empty() || position.type == TomlNode::Type::array ||
            position.type == TomlNode::Type::table) {
            table.complain("controls", "the position of " + in_quotes(name) + " is no text and no number",
                           "write e.g. controls = { bass = \"+6\", treble = \"flat\" }");
            continue;
        }
        positions += (positions.empty() ? "" : ", ") + name + " " + text;
    }
    if (positions.empty()) {
        table.complain("controls", "controls is empty", "name each control and its position");
        return;
    }
    test.fields["controls"] = positions;
}

bool wants_loads(const Measure& measure) {
    return std::any_of(measure.quantities.begin(), measure.quantities.end(),
                       [](const QuantityEntry& entry) { return entry.per_load; });
}

/// What the kind of the unit forbids. A line unit gives volts; its only load is the known resistor that shows
/// its output impedance.
void check_kind(RawTest& raw, UnitKind kind) {
    TomlTable& table = raw.table;
    if (raw.inputs && kind != UnitKind::line) {
        table.complain("inputs", "inputs are for a line unit, and this unit is none",
                       "name loads, or write kind = \"line\" in [unit]");
        return;
    }
    if (kind != UnitKind::line) return;
    const std::string& measure = raw.measure->name;
    if (raw.measure->in_watts) {
        table.complain("measure", fmt::format("{} gives watts, and a line unit gives volts", measure),
                       "use clipping-power for the largest volts, response for the band");
        return;
    }
    if (raw.loads && raw.inputs) {
        table.complain("loads", "loads stands beside inputs", "take one of them out");
    } else if (raw.loads && measure != "response") {
        table.complain("loads", "a line unit is measured at inputs, with no load",
                       "name them, e.g. inputs = [\"probe-a\"]; a resistor that stays connected is told as "
                       "connected_load_ohm");
    }
    for (const char* watts : {"power_w", "reference_power_w", "rated_power_w"}) {
        if (!raw.test.fields.contains(watts)) continue;
        const std::string_view key = watts;
        table.complain(watts, fmt::format("{} is in watts, and a line unit gives volts", watts),
                       key == "power_w"         ? "give the level as drive_dbfs or drive_volts"
                       : key == "rated_power_w" ? "give rated_v"
                                                : "give reference_v");
    }
}

/// Index of the load that stands for an input of the recorder; it is added where it is not there yet.
std::optional<std::size_t> take_bare_input(TomlTable& table, const char* key, const std::string& name,
                                           capture::Bench& bench) {
    std::vector<std::string> names;
    const capture::Input* input = nullptr;
    std::size_t at = 0;
    for (std::size_t i = 0; i < bench.inputs.size(); ++i) {
        if (bench.inputs[i].role == capture::InputRole::voltage) names.push_back(bench.inputs[i].name);
        if (bench.inputs[i].name != name) continue;
        input = &bench.inputs[i];
        at = i;
    }
    if (input == nullptr) {
        table.complain(key, "the bench has no input " + in_quotes(name), suggestion(name, names));
        return std::nullopt;
    }
    if (input->role != capture::InputRole::voltage) {
        table.complain(key, "input " + in_quotes(name) + " has another role than \"voltage\"",
                       "name an input that hears the unit's output");
        return std::nullopt;
    }
    for (std::size_t i = 0; i < bench.loads.size(); ++i) {
        if (bench.loads[i].name != name) continue;
        if (bench.loads[i].bare_input) return i;
        table.complain(key, "the bench has a load and an input named " + in_quotes(name),
                       "give the load another name in the bench file");
        return std::nullopt;
    }
    if (input->driven_by.empty() && bench.outputs.size() > 1) {
        table.complain(
            key, "the bench has several outputs, and nothing says which reaches input " + in_quotes(name),
            fmt::format("say so at that [[input]] of the bench file, e.g. driven_by = [{}]",
                        in_quotes(bench.outputs.front().name)));
        return std::nullopt;
    }
    capture::Load load;
    load.name = name;
    load.resistance_ohm = std::numeric_limits<double>::infinity();
    load.driven_by = input->driven_by;
    if (load.driven_by.empty() && bench.outputs.size() == 1) load.driven_by = {0};
    load.plus = at;
    load.bare_input = true;
    bench.loads.push_back(load);
    return bench.loads.size() - 1;
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

RawTest read_test(const TomlNode& node, std::size_t index, UnitKind kind, const MeasureTables& tables,
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
    raw.inputs = table.names("inputs");
    read_controls(node, table, test);
    raw.reference = table.name("reference");
    for (const Field& field : tables.common) read_field(table, field, test);
    for (const Field& field : tables.readings) {
        if (!test.fields.contains(field.name)) read_field(table, field, test);
    }
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
        if (kind == UnitKind::line && !raw.loads) {
            table.require("inputs",
                          "name the inputs that hear the unit's outputs, e.g. inputs = [\"probe-a\"]");
        } else if (!raw.inputs) {
            table.require("loads", "name the loads that are measured together, e.g. loads = [\"load-a\"]");
        }
        if (raw.loads && raw.loads->empty())
            table.complain("loads", "loads is empty", "name at least one load");
        if (raw.inputs && raw.inputs->empty())
            table.complain("inputs", "inputs is empty", "name at least one input");
    }
    table.finish();
    return raw;
}

void join_test(RawTest& raw, UnitKind kind, capture::Bench& bench) {
    TomlTable& table = raw.table;
    check_kind(raw, kind);
    std::vector<std::string> load_names;
    for (const capture::Load& load : bench.loads) {
        if (!load.bare_input) load_names.push_back(load.name);
    }
    for (const std::string& name : raw.inputs.value_or(std::vector<std::string>{})) {
        if (const auto index = take_bare_input(table, "inputs", name, bench))
            raw.test.loads.push_back(*index);
    }
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
        for (const char* list : {"loads", "inputs"}) {
            if (table.has(list))
                table.complain(list, fmt::format("{} stands beside {}", list, field), "take it out");
        }
        if (kind == UnitKind::line) {
            if (const auto index = take_bare_input(table, field, *name, bench))
                raw.test.loads.push_back(*index);
            continue;
        }
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
