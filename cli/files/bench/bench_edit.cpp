#include "cli/files/bench/bench_edit.h"

#include <toml++/toml.h>

#include <set>
#include <sstream>

#include "cli/files/toml/toml_tree.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {

using capture::FaultKind;

/// The TOML library counts columns in characters, from 1.
std::size_t byte_of_column(std::string_view line, std::size_t column) {
    std::size_t at = 0;
    for (std::size_t passed = 1; passed < column && at < line.size(); ++passed)
        at += next_character(line, at).bytes;
    return at;
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) lines.push_back(line);
    return lines;
}

/// The table that is meant, and the line behind which new keys go; null where there is none.
struct Found {
    const toml::table* table = nullptr;
    std::size_t behind = 0;
};

Found find_table(const toml::table& document, const std::string& kind, const std::string& name) {
    if (name.empty()) {
        const toml::table* table = document[kind].as_table();
        return {table, table == nullptr ? 0 : table->source().begin.line};
    }
    const toml::array* list = document[kind].as_array();
    if (list == nullptr) return {};
    for (const toml::node& node : *list) {
        const toml::table* table = node.as_table();
        const toml::node* name_node = table == nullptr ? nullptr : table->get("name");
        if (name_node != nullptr && name_node->value_or(std::string()) == name)
            return {table, name_node->source().begin.line};
    }
    return {};
}

}  // namespace

capture::Result<std::string> edit_bench(const std::filesystem::path& path, const std::string& kind,
                                        const std::string& name, const BenchEdits& edits) {
    const auto read = read_toml_text(path);
    if (!read) return tl::unexpected(read.error());
    const std::string& text = *read;
    std::vector<std::string> lines = lines_of(text);
    try {
        const toml::table document = toml::parse(std::string_view(text), std::string_view("bench"));
        const Found found = find_table(document, kind, name);
        if (found.table == nullptr) {
            return capture::fail(FaultKind::bad_input_file,
                                 path.string() + (name.empty() ? ": no [" + kind + "] found in the text"
                                                               : ": no [[" + kind + "]] named \"" + name +
                                                                     "\" found in the text"),
                                 "write it as a table of its own");
        }
        if (found.table->is_inline()) {
            return capture::fail(FaultKind::bad_input_file,
                                 path.string() + ":" + std::to_string(found.table->source().begin.line) +
                                     ": " + kind + " \"" + name + "\" stands in one line",
                                 "write it as [[" + kind + "]], with a line for each key");
        }
        std::vector<std::string> added;
        std::set<std::size_t> taken_away;
        for (const auto& [key, value] : edits) {
            const toml::node* old = found.table->get(key);
            if (old == nullptr) {
                if (value) added.push_back(key + " = " + *value);
                continue;
            }
            const auto& begin = old->source().begin;
            const auto& end = old->source().end;
            if (begin.line != end.line) {
                return capture::fail(FaultKind::bad_input_file,
                                     path.string() + ":" + std::to_string(begin.line) + ": " + key +
                                         ": the value spans several lines",
                                     "write it in one line");
            }
            std::string& line = lines[begin.line - 1];
            if (value) {
                const std::size_t first = byte_of_column(line, begin.column);
                line.replace(first, byte_of_column(line, end.column) - first, *value);
            } else {
                taken_away.insert(begin.line);
            }
        }
        const std::string line_end =
            found.behind > 0 && lines[found.behind - 1].ends_with('\r') ? "\r\n" : "\n";
        std::string result;
        for (std::size_t number = 1; number <= lines.size(); ++number) {
            if (!taken_away.contains(number)) result += lines[number - 1] + "\n";
            if (number != found.behind) continue;
            for (const std::string& line : added) result += line + line_end;
        }
        return result;
    } catch (const toml::parse_error& error) {
        return capture::fail(FaultKind::bad_input_file,
                             path.string() + ": " + std::string(error.description()), "mend the file");
    }
}

}  // namespace assay::cli
