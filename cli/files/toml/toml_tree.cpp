#include "cli/files/toml/toml_tree.h"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <exception>
#include <sstream>
#include <system_error>
#include <utility>

#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_depth.h"
#include "cli/files/utf8.h"
#include "cli/files/whole_file.h"

namespace assay::cli {

namespace {

using capture::FaultKind;

// A table nested deeper than this is no job and no bench, and the parser's own recursion would end in
// a stack overflow.
constexpr int deepest = 64;

template <class T>
std::string written(const T& value) {
    std::ostringstream stream;
    stream.imbue(std::locale::classic());
    stream << value;
    return stream.str();
}

TomlNode convert(const toml::node& node);

TomlNode convert_table(const toml::table& table) {
    TomlNode out;
    out.type = TomlNode::Type::table;
    struct Entry {
        int line = 0;
        int column = 0;
        std::string key;
        const toml::node* value = nullptr;
    };
    std::vector<Entry> entries;
    for (const auto& [key, value] : table) {
        const auto at = key.source().begin;
        entries.push_back(
            {static_cast<int>(at.line), static_cast<int>(at.column), std::string(key.str()), &value});
    }
    std::stable_sort(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) {
        return a.line != b.line ? a.line < b.line : a.column < b.column;
    });
    for (Entry& entry : entries) {
        out.key_lines.push_back(std::max(entry.line, 1));
        out.entries.emplace_back(std::move(entry.key), convert(*entry.value));
    }
    return out;
}

TomlNode convert(const toml::node& node) {
    TomlNode out;
    if (const toml::table* table = node.as_table()) {
        out = convert_table(*table);
    } else if (const toml::array* array = node.as_array()) {
        out.type = TomlNode::Type::array;
        for (const toml::node& item : *array) out.items.push_back(convert(item));
    } else if (const auto* text = node.as_string()) {
        out.type = TomlNode::Type::text;
        out.text = text->get();
    } else if (const auto* integer = node.as_integer()) {
        out.type = TomlNode::Type::number;
        out.number = static_cast<double>(integer->get());
    } else if (const auto* real = node.as_floating_point()) {
        out.type = TomlNode::Type::number;
        out.number = real->get();
    } else if (const auto* boolean = node.as_boolean()) {
        out.type = TomlNode::Type::boolean;
        out.boolean = boolean->get();
    } else if (const auto* date = node.as_date()) {
        out.type = TomlNode::Type::date;
        out.text = written(date->get());
    } else if (const auto* time = node.as_time()) {
        out.type = TomlNode::Type::date;
        out.text = written(time->get());
    } else if (const auto* moment = node.as_date_time()) {
        out.type = TomlNode::Type::date;
        out.text = written(moment->get());
    }
    out.line = std::max(static_cast<int>(node.source().begin.line), 1);
    return out;
}

int line_of(std::string_view text, std::size_t position) {
    return 1 + static_cast<int>(
                   std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(position), '\n'));
}

// The library's sentence with what would break a line taken out.
std::string one_line(std::string_view text) {
    std::string out;
    for (const char c : text) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
    if (out.size() <= 300) return out;
    out.resize(300);
    while (const auto bad = first_invalid(out)) out.resize(*bad);  // do not end inside a character
    return out + "...";
}

}  // namespace

const TomlNode* TomlNode::find(std::string_view key) const {
    for (const auto& [name, value] : entries) {
        if (name == key) return &value;
    }
    return nullptr;
}

capture::Result<std::string> read_toml_text(const std::filesystem::path& path) {
    std::error_code error;
    const auto status = std::filesystem::status(path, error);
    const std::string name = path.string();
    if (!std::filesystem::exists(status)) {
        return capture::fail(FaultKind::bad_input_file, name + ": there is no such file", "check the path");
    }
    if (std::filesystem::is_directory(status)) {
        return capture::fail(FaultKind::bad_input_file, name + ": this is a folder, not a file",
                             "give the TOML file itself");
    }
    auto text = first_bytes(path, largest_toml_file_bytes + 1);
    if (!text) {
        return capture::fail(FaultKind::bad_input_file, name + ": the file cannot be read",
                             "check its permissions");
    }
    return std::move(*text);
}

capture::Result<TomlNode> parse_toml(std::string_view text, const std::string& name) {
    const auto fail_at = [&](int line, const std::string& what, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, fmt::format("{}:{}: {}", one_line(name), line, what),
                             mend);
    };
    if (text.size() > largest_toml_file_bytes) {
        return fail_at(1, "the file is larger than 1 MiB", "is this the right file?");
    }
    if (text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF")) {
        return fail_at(1, "the file is UTF-16", "save it as UTF-8");
    }
    if (const auto bad = first_invalid(text)) {
        return fail_at(line_of(text, *bad), "a byte here is not UTF-8", "save the file as UTF-8");
    }
    if (const auto line = line_deeper_than(text, deepest)) {
        return fail_at(*line, fmt::format("tables or lists are nested more than {} deep", deepest),
                       "is this the right file?");
    }
    try {
        const toml::table table = toml::parse(text, std::string_view{});
        return convert(table);
    } catch (const toml::parse_error& error) {
        return fail_at(std::max(static_cast<int>(error.source().begin.line), 1),
                       "not TOML: " + one_line(error.description()),
                       "texts stand in double quotes, a key and its value on one line");
    } catch (const std::exception& error) {
        return fail_at(1, "not TOML: " + one_line(error.what()), "check the file");
    }
}

}  // namespace assay::cli
