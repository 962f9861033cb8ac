#include "cli/commands/program/manual.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>

#include "cli/commands/terminal/io.h"

namespace assay::cli {

namespace {

/// Text as roff takes it: no control line by accident, and a minus that can be copied from the page.
std::string roff(std::string_view text) {
    std::string escaped;
    bool begins = true;
    for (const char c : text) {
        if (begins && (c == '.' || c == '\'')) escaped += "\\&";
        if (c == '\\')
            escaped += "\\e";
        else if (c == '-')
            escaped += "\\-";
        else
            escaped += c;
        begins = c == '\n';
    }
    return escaped;
}

/// `--into DIR`, `JOB`, `--bits UINT:{16,24}`: an option as it is typed.
std::string head_of(const CLI::Option& option) {
    if (option.get_positional()) return fmt::format("\\fI{}\\fR", roff(option.get_name(true)));
    std::string head = fmt::format("\\fB{}\\fR", roff(option.get_name(false, true)));
    if (option.get_items_expected_max() > 0 && !option.get_type_name().empty())
        head += fmt::format(" \\fI{}\\fR", roff(option.get_type_name()));
    return head;
}

void add_options(const CLI::App& command, std::string& page) {
    for (const CLI::Option* option : command.get_options()) {
        if (option->get_name(false, true) == "-h,--help") continue;
        page += fmt::format(".TP\n{}\n{}\n", head_of(*option), roff(option->get_description()));
    }
}

void add_commands(const CLI::App& parent, const std::string& before, std::string& page) {
    for (const CLI::App* command : parent.get_subcommands(nullptr)) {
        const std::string name = before + command->get_name();
        page += fmt::format(".SS assay {}\n{}\n", roff(name), roff(command->get_description()));
        add_options(*command, page);
        add_commands(*command, name + " ", page);
    }
}

}  // namespace

std::string manual_page(const CLI::App& app, std::string_view version, std::string_view cautions) {
    std::string page = fmt::format(".TH ASSAY 1 \"\" \"assay {}\" \"User commands\"\n", version);
    page += ".SH NAME\nassay \\- bench measurement of audio amplifiers and loudspeaker drivers\n";
    page += ".SH SYNOPSIS\n\\fBassay\\fR \\fICOMMAND\\fR [\\fIOPTIONS\\fR]\n";
    page += fmt::format(".SH CAUTIONS\n.nf\n{}\n.fi\n", roff(cautions));
    page += ".SH COMMANDS\n";
    add_commands(app, "", page);
    page += fmt::format(".SH EXIT STATUS\n{}", exit_status_words);
    return page;
}

}  // namespace assay::cli
