#include "cli/commands/terminal/questions.h"

#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_tree.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

std::string plain(const TomlNode& node) {
    switch (node.type) {
        case TomlNode::Type::number:
            return fmt::format("{}", node.number);
        case TomlNode::Type::boolean:
            return node.boolean ? "yes" : "no";
        default:
            return node.text;
    }
}

/// Waits for a line in slices, so that Ctrl-C ends a question too.
Result<std::string> line_from_terminal() {
    std::string line;
    for (;;) {
        if (stop_requested()) return capture::fail(FaultKind::stopped, "stopped by hand");
        pollfd input{STDIN_FILENO, POLLIN, 0};
        if (poll(&input, 1, 100) <= 0) continue;
        char letter = 0;
        const auto got = read(STDIN_FILENO, &letter, 1);
        if (got <= 0) return capture::fail(FaultKind::stopped, "no answer: the input has ended");
        if (letter == '\n') return line;
        line += letter;
    }
}

}  // namespace

Result<Questions> Questions::open(const std::optional<std::filesystem::path>& answers) {
    Questions questions;
    questions.terminal_ = isatty(STDIN_FILENO) != 0 && isatty(STDERR_FILENO) != 0;
    if (!answers) return questions;
    questions.from_file_ = true;
    questions.file_ = answers->string();
    const auto text = read_toml_text(*answers);
    if (!text) return tl::unexpected<capture::Fault>(text.error());
    const auto root = parse_toml(*text, questions.file_);
    if (!root) return tl::unexpected<capture::Fault>(root.error());
    for (const auto& [key, node] : root->entries) {
        std::vector<std::string>& list = questions.answers_[key];
        if (node.type == TomlNode::Type::table) {
            return capture::fail(
                FaultKind::bad_input_file,
                fmt::format("{}:{}: {}: a table is no answer", questions.file_, node.line, key),
                "write answers as key = value; keys with dots in quotes");
        }
        if (node.type == TomlNode::Type::array) {
            for (const TomlNode& item : node.items) list.push_back(plain(item));
        } else {
            list.push_back(plain(node));
        }
    }
    return questions;
}

Result<std::string> Questions::text(const Question& question) {
    if (from_file_) {
        const auto found = answers_.find(question.key);
        if (found == answers_.end() || found->second.empty()) {
            if (!question.default_to.empty()) return question.default_to;
            return capture::fail(
                FaultKind::bad_input_file,
                fmt::format("{}: no answer \"{}\" to: {}", file_, question.key, question.text),
                fmt::format("add {} = ...", question.key));
        }
        // The last answer stands for all further times.
        const std::size_t number = std::min(used_[question.key]++, found->second.size() - 1);
        const std::string answer(trimmed(found->second[number]));
        return answer.empty() ? question.default_to : answer;
    }
    if (!terminal_) {
        return capture::fail(
            FaultKind::bad_arguments,
            fmt::format("a question has to be asked and there is no terminal: {}", question.text),
            "give --answers FILE, or --yes where only a confirmation is asked");
    }
    for (;;) {
        prompt(question.default_to.empty() ? fmt::format("{}:", question.text)
                                           : fmt::format("{} [{}]:", question.text, question.default_to));
        prompt(" ");  // apart, so that no line is broken there
        auto line = line_from_terminal();
        if (!line) return line;
        const std::string answer(trimmed(*line));
        if (!answer.empty()) return answer;
        if (!question.default_to.empty()) return question.default_to;
    }
}

Result<std::string> Questions::checked(const Question& question,
                                       const std::function<std::string(const std::string&)>& check) {
    for (;;) {
        auto answer = text(question);
        if (!answer) return answer;
        const std::string wrong = check(*answer);
        if (wrong.empty()) return answer;
        if (from_file_)
            return capture::fail(FaultKind::bad_input_file,
                                 fmt::format("{}: {}: {}", file_, question.key, wrong), "correct the answer");
        prompt("  " + wrong + "\n");
    }
}

Result<double> Questions::number(const Question& question, double minimum, double maximum) {
    double value = 0.0;
    const auto check = [&](const std::string& text) -> std::string {
        std::string number = text;
        std::replace(number.begin(), number.end(), ',', '.');
        const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), value);
        if (error != std::errc() || end != number.data() + number.size() || !std::isfinite(value))
            return in_quotes(text) + " is no number";
        if (value < minimum || value > maximum)
            return fmt::format("{:g} is outside {:g} to {:g}", value, minimum, maximum);
        return {};
    };
    const auto answer = checked(question, check);
    if (!answer) return tl::unexpected<capture::Fault>(answer.error());
    return value;
}

Result<bool> Questions::yes(const Question& question) {
    const auto answer = choice(question, {"yes", "no"});
    if (!answer) return tl::unexpected<capture::Fault>(answer.error());
    return *answer == "yes";
}

Result<std::string> Questions::choice(const Question& question, const std::vector<std::string>& words) {
    std::string chosen;
    std::string all;
    for (const std::string& word : words) all += (all.empty() ? "" : "/") + word;
    Question asked = question;
    asked.text += " (" + all + ")";
    const auto check = [&](const std::string& text) -> std::string {
        for (const std::string& word : words) {
            const auto alike = std::count_if(words.begin(), words.end(),
                                             [&](const std::string& other) { return other[0] == word[0]; });
            if (word == text || (alike == 1 && text.size() == 1 && text[0] == word[0])) {
                chosen = word;
                return {};
            }
        }
        return in_quotes(text) + " is none of " + all;
    };
    const auto answer = checked(asked, check);
    if (!answer) return answer;
    return chosen;
}

}  // namespace assay::cli
