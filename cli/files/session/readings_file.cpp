#include "cli/files/session/readings_file.h"

#include <fmt/format.h>

#include <algorithm>

#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/toml/toml_tree.h"
#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

namespace fs = std::filesystem;
using capture::FaultKind;

constexpr const char* readings_name = "readings.toml";

tl::unexpected<capture::Fault> damaged(const fs::path& file, int line, const std::string& what) {
    return capture::fail(FaultKind::bad_input_file, fmt::format("{}:{}: {}", visible_path(file), line, what),
                         "it was changed since the program wrote it: ask for an undamaged copy");
}

const Field* number_field(const std::string& name) {
    for (const Field& field : reading_fields()) {
        if (field.name == name && field.type == FieldType::number) return &field;
    }
    return nullptr;
}

/// The readings that a test was asked for, whether they stand in `ask` or came by themselves.
bool was_asked(const Test& test, const std::string& field) {
    return !test.lines.contains(field);  // what the job file itself states has a line there
}

}  // namespace

capture::Result<void> apply_readings(const fs::path& session, Job& job) {
    const fs::path file = session / readings_name;
    std::error_code error;
    if (!fs::exists(file, error)) return {};
    const auto text = read_toml_text(file);
    if (!text) return tl::unexpected<capture::Fault>(text.error());
    const auto root = parse_toml(*text, file.string());
    if (!root) return tl::unexpected<capture::Fault>(root.error());
    for (const auto& [id, table] : root->entries) {
        const auto test = std::find_if(job.tests.begin(), job.tests.end(),
                                       [&id = id](const Test& one) { return one.id == id; });
        if (test == job.tests.end() || table.type != TomlNode::Type::table)
            return damaged(file, table.line, "the job has no test \"" + visible_text(id, 80) + "\"");
        for (const auto& [name, value] : table.entries) {
            const Field* field = number_field(name);
            const bool a_reading = field != nullptr && value.type == TomlNode::Type::number &&
                                   value.number >= field->minimum && value.number <= field->maximum;
            if (!a_reading || !was_asked(*test, name))
                return damaged(file, value.line,
                               "\"" + visible_text(name, 80) + "\" is no reading that was asked for");
            test->fields[name] = value.number;
        }
    }
    return {};
}

capture::Result<void> keep_readings(const fs::path& session, const Job& job) {
    std::string text;
    for (const Test& test : job.tests) {
        std::string lines;
        for (const Field& field : reading_fields()) {
            const auto value = test.number(field.name);
            if (!value || !was_asked(test, field.name)) continue;
            lines += fmt::format("{} = {}\n", field.name, *value);
        }
        if (!lines.empty()) text += fmt::format("\n[{}]\n{}", test.id, lines);
    }
    if (text.empty()) return {};
    return write_file_safely(session / readings_name,
                             "# Meter readings, asked for and given while the tests ran.\n" + text);
}

}  // namespace assay::cli
