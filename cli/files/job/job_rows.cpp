#include "cli/files/job/job_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

namespace assay::cli {

namespace {

constexpr std::size_t most_rows = 10000;

std::string example_of(const Field& field) {
    std::string keys;
    for (const std::string& key : field.choices) keys += (keys.empty() ? "" : ", ") + key + " = ...";
    return fmt::format("write {} = [{{ {} }}, ...]", field.name, keys);
}

}  // namespace

std::optional<std::vector<double>> read_rows(TomlTable& table, const Field& field) {
    const TomlNode* list = table.list(field.name);
    if (list == nullptr) return std::nullopt;
    const auto wrong = [&](const std::string& what) {
        table.complain(field.name, what, example_of(field));
        return std::nullopt;
    };
    if (list->items.empty() || list->items.size() > most_rows)
        return wrong(fmt::format("{} is a list of {} rows", field.name, list->items.size()));
    std::vector<double> flat;
    double before = -1.0;
    for (std::size_t k = 0; k < list->items.size(); ++k) {
        const TomlNode& row = list->items[k];
        const std::string where = fmt::format("row {} of {}", k + 1, field.name);
        if (row.type != TomlNode::Type::table)
            return wrong(fmt::format("{} is {}", where, type_in_words(row)));
        for (const auto& [key, value] : row.entries) {
            if (std::find(field.choices.begin(), field.choices.end(), key) == field.choices.end())
                return wrong(fmt::format("{} has an unknown key \"{}\"", where, key));
        }
        for (const std::string& key : field.choices) {
            const TomlNode* value = row.find(key);
            if (value == nullptr && key == field.choices.back()) {
                flat.push_back(std::numeric_limits<double>::quiet_NaN());
                continue;
            }
            if (value == nullptr) return wrong(fmt::format("{} has no {}", where, key));
            const bool good = value->type == TomlNode::Type::number && value->number >= field.minimum &&
                              value->number <= field.maximum;
            if (!good)
                return wrong(fmt::format("{} of {} is no number from {:g} to {:g}", key, where, field.minimum,
                                         field.maximum));
            flat.push_back(value->number);
        }
        const double first = flat[flat.size() - field.choices.size()];
        if (first <= before)
            return wrong(fmt::format("{} of {} is not above the one before", field.choices.front(), where));
        before = first;
    }
    return flat;
}

}  // namespace assay::cli
