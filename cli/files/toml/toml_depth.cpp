#include "cli/files/toml/toml_depth.h"

#include <string>
#include <vector>

namespace assay::cli {

namespace {

struct Scanner {
    std::string_view text;
    std::size_t at = 0;
    int line = 1;

    bool done() const { return at >= text.size(); }

    void step() {
        if (text[at] == '\n') ++line;
        ++at;
    }

    void skip_comment() {
        while (!done() && text[at] != '\n') ++at;
    }

    // From the opening quote to behind the closing one. A text in single quotes has no escapes; one in
    // tripled quotes runs over lines and may end in up to two quotes of its own.
    void skip_quoted() {
        const char quote = text[at];
        const std::string three(3, quote);
        const bool tripled = text.substr(at, 3) == three;
        at += tripled ? 3 : 1;
        while (!done()) {
            if (text[at] == '\\' && quote == '"' && at + 1 < text.size()) {
                step();
                step();
            } else if (tripled && text.substr(at, 3) == three) {
                at += 3;
                for (int extra = 0; extra < 2 && !done() && text[at] == quote; ++extra) ++at;
                return;
            } else if (!tripled && text[at] == quote) {
                ++at;
                return;
            } else if (!tripled && text[at] == '\n') {
                return;  // an error, which the parser will tell
            } else {
                step();
            }
        }
    }
};

}  // namespace

std::optional<int> line_deeper_than(std::string_view text, int limit) {
    Scanner scanner{text};
    std::vector<int> dots{0};  // of the key at hand, for each open bracket
    int total_dots = 0;
    while (!scanner.done()) {
        const char c = scanner.text[scanner.at];
        if (c == '#') {
            scanner.skip_comment();
            continue;
        }
        if (c == '"' || c == '\'') {
            scanner.skip_quoted();
            continue;
        }
        if (c == '[' || c == '{') {
            dots.push_back(0);
        } else if (c == ']' || c == '}') {
            total_dots -= dots.back();
            if (dots.size() > 1) {
                dots.pop_back();
            } else {
                dots.back() = 0;
            }
        } else if (c == '.') {
            ++dots.back();
            ++total_dots;
        } else if (c == ',' || c == '\n') {
            total_dots -= dots.back();
            dots.back() = 0;
        }
        if (total_dots + static_cast<int>(dots.size()) - 1 > limit) return scanner.line;
        scanner.step();
    }
    return std::nullopt;
}

}  // namespace assay::cli
