#include "cli/commands/program/measure_help.h"

#include <fmt/format.h>

#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

std::string field_line(const Field& field) {
    std::string line = fmt::format("    {:<26} {}", field.name, field.help);
    if (field.type == FieldType::choice) {
        line += ":";
        for (const std::string& choice : field.choices) line += " " + choice;
    }
    if (!field.unit.empty()) line += fmt::format(", {}", field.unit);
    if (!field.default_text.empty()) line += fmt::format(" (default {})", field.default_text);
    if (field.required) line += " (required)";
    return line + "\n";
}

}  // namespace

std::string measures_help() {
    std::string text = "Measures of a job file's [[test]]:\n";
    for (const Measure& measure : measure_table()) {
        text += fmt::format("\n  {}: {}\n", measure.name, measure.summary);
        for (const Field& field : measure.fields) text += field_line(field);
        text += "    gives:\n";
        for (const QuantityEntry& quantity : measure.quantities) {
            text += fmt::format("      {:<34} {}{}{}{}\n", quantity.name, quantity.help,
                                quantity.unit.empty() ? "" : ", ", quantity.unit,
                                quantity.per_load ? "" : " (whole test)");
        }
    }
    text += "\n  Fields of every measure with a tone:\n";
    for (const Field& field : common_fields()) text += field_line(field);
    text += "\n  Readings that may travel with any test:\n";
    for (const Field& field : reading_fields()) text += field_line(field);
    return text;
}

}  // namespace assay::cli
