#include "cli/files/bench_edit.h"

#include <toml++/toml.h>

#include <fstream>
#include <iterator>
#include <sstream>

namespace assay::cli {

namespace {

using capture::FaultKind;

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) lines.push_back(line);
    return lines;
}

}  // namespace

capture::Result<std::string> edit_input(const std::filesystem::path& path, const std::string& name,
                                        const std::vector<std::pair<std::string, std::string>>& values) {
    std::ifstream file(path, std::ios::binary);
    const std::string text{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
    std::vector<std::string> lines = lines_of(text);
    try {
        const toml::table document = toml::parse(std::string_view(text), std::string_view("bench"));
        const toml::array* inputs = document["input"].as_array();
        if (inputs != nullptr) {
            for (const toml::node& node : *inputs) {
                const toml::table* table = node.as_table();
                const toml::node* name_node = table == nullptr ? nullptr : table->get("name");
                if (name_node == nullptr || name_node->value_or(std::string()) != name) continue;
                std::vector<std::string> added;
                for (const auto& [key, value] : values) {
                    const toml::node* old = table->get(key);
                    if (old == nullptr) {
                        added.push_back(key + " = " + value);
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
                    line = line.substr(0, begin.column - 1) + value + line.substr(end.column - 1);
                }
                const auto behind = static_cast<std::ptrdiff_t>(name_node->source().begin.line);
                lines.insert(lines.begin() + behind, added.begin(), added.end());
                std::string result;
                for (const std::string& line : lines) result += line + "\n";
                return result;
            }
        }
    } catch (const toml::parse_error& error) {
        return capture::fail(FaultKind::bad_input_file,
                             path.string() + ": " + std::string(error.description()), "mend the file");
    }
    return capture::fail(FaultKind::bad_input_file,
                         path.string() + ": no [[input]] named \"" + name + "\" found in the text",
                         "write inputs as [[input]] tables");
}

}  // namespace assay::cli
