// A TOML document as a plain tree with line numbers. The TOML library stays behind this header.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

struct TomlNode {
    enum class Type { text, number, boolean, date, array, table };
    Type type = Type::table;
    int line = 1;
    std::string text{};   // of a text; of a date as it would be written
    double number = 0.0;  // integers too; they are exact up to 2^53
    bool boolean = false;
    std::vector<TomlNode> items{};                            // of an array
    std::vector<std::pair<std::string, TomlNode>> entries{};  // of a table, in the order of the file
    std::vector<int> key_lines{};                             // line of each entry's key

    const TomlNode* find(std::string_view key) const;
};

/// Job and bench files are written by hand; what is larger was not meant to be one.
constexpr std::size_t largest_toml_file_bytes = 1U << 20U;

/// The text of a file, whole or, of one that is too large, up to one byte beyond the limit: `parse_toml`
/// refuses that. Fault of kind bad_input_file: not there, a folder, not readable.
[[nodiscard]] capture::Result<std::string> read_toml_text(const std::filesystem::path& path);

/// Fault of kind bad_input_file with "NAME:LINE: ": too large, not UTF-8, nested too deep, not TOML.
[[nodiscard]] capture::Result<TomlNode> parse_toml(std::string_view text, const std::string& name);

}  // namespace assay::cli
