// Questions to the person at the bench: on the terminal, or from a file of answers for unattended use. A
// program that asks where nobody can answer would hang or guess; this one refuses.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "capture/fault.h"
#include "cli/commands/terminal/io.h"

namespace assay::cli {

struct Question {
    std::string key{};         // by which an answers file names it: letters, digits, '-', '_'
    std::string text{};        // one line, without the question mark's blank
    std::string default_to{};  // empty: an answer is needed
};

class Questions {
  public:
    /// Without a file: the terminal, if there is one. The file is TOML without tables: `key = answer` or
    /// `key = [first, second]` for what is asked repeatedly; "KEY" in quotes where it holds other letters.
    [[nodiscard]] static capture::Result<Questions> open(const std::optional<std::filesystem::path>& answers);

    bool can_ask() const { return from_file_ || terminal_; }
    /// Whoever answers sits at the terminal.
    bool by_hand() const { return !from_file_ && terminal_; }
    /// Blanks at the ends are taken away. Faults: nobody to ask, no answer in the file, end of input, Ctrl-C.
    [[nodiscard]] capture::Result<std::string> text(const Question& question);
    /// As above; `check` gives what is wrong, or nothing. A person is asked again, a file is refused.
    [[nodiscard]] capture::Result<std::string> checked(
        const Question& question, const std::function<std::string(const std::string&)>& check);
    [[nodiscard]] capture::Result<double> number(const Question& question, double minimum, double maximum);
    [[nodiscard]] capture::Result<bool> yes(const Question& question);
    [[nodiscard]] capture::Result<std::string> choice(const Question& question,
                                                      const std::vector<std::string>& words);
    /// True if the file has an answer of that key, used or not.
    bool answers(const std::string& key) const { return answers_.contains(key); }

  private:
    bool from_file_ = false;
    bool terminal_ = false;
    std::string file_{};
    std::map<std::string, std::vector<std::string>> answers_{};
    std::map<std::string, std::size_t> used_{};
};

}  // namespace assay::cli
