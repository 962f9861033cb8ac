#include "cli/commands/program/completion.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>

namespace assay::cli {

namespace {

/// `a4 letter` of `TEXT:{a4,letter}`; empty where an option takes more than a few words.
std::string words_of(const CLI::Option& option) {
    const std::string type = option.get_type_name();
    const auto open = type.find('{');
    const auto close = type.find('}', open == std::string::npos ? 0 : open);
    if (open == std::string::npos || close == std::string::npos) return {};
    std::string words = type.substr(open + 1, close - open - 1);
    std::replace(words.begin(), words.end(), ',', ' ');
    return words;
}

/// One line of the table for each command: its subcommands and options; then one for each option with words.
void add_rows(const CLI::App& command, const std::string& path, std::string& table, std::string& values) {
    std::string words;
    for (const CLI::App* below : command.get_subcommands(nullptr)) words += below->get_name() + " ";
    for (const CLI::Option* option : command.get_options()) {
        for (const std::string& name : option->get_lnames()) {
            words += fmt::format("--{} ", name);
            const std::string taken = words_of(*option);
            if (!taken.empty())
                values += fmt::format("        '{} --{}') words='{}' ;;\n", path, name, taken);
        }
    }
    table += fmt::format("        '{}') words='{}' ;;\n", path, words);
    for (const CLI::App* below : command.get_subcommands(nullptr))
        add_rows(*below, path + " " + below->get_name(), table, values);
}

}  // namespace

std::string bash_completion(const CLI::App& app) {
    std::string table;
    std::string values;
    add_rows(app, "assay", table, values);
    return fmt::format(
        R"(# bash completion for assay; made by `assay completion`
_assay_words() {{
    case $1 in
{}    esac
}}

_assay_values() {{
    case $1 in
{}    esac
}}

_assay() {{
    local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD - 1]}} path=assay words='' k
    for ((k = 1; k < COMP_CWORD; ++k)); do
        _assay_words "$path ${{COMP_WORDS[k]}}"
        if [[ -n $words ]]; then path+=" ${{COMP_WORDS[k]}}"; words=''; fi
    done
    _assay_values "$path $before"
    if [[ -z $words && ($before != --* || $current == -*) ]]; then _assay_words "$path"; fi
    COMPREPLY=()
    local word
    for word in $words; do [[ $word == "$current"* ]] && COMPREPLY+=("$word"); done
}}
complete -o default -F _assay assay
)",
        table, values);
}

}  // namespace assay::cli
