// Small changes of wording that texts need to stand on the page.
#include <cctype>
#include <cmath>
#include <string_view>

#include "cli/certificate/page/parts.h"
#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {

PageData text_section(const std::string& text) {
    return PageData{"text", text};
}

std::string first_capital(std::string text) {
    if (!text.empty())
        text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
    return text;
}

std::string first_page_words(const std::string& quantity, const std::string& limit_on) {
    return quantity == "thd_percent" ? "distortion, THD" : quantity_words(quantity, limit_on);
}

std::string doubt_text(const std::vector<capture::RelativeDoubt>& doubts) {
    double variance = 0.0;
    for (const capture::RelativeDoubt& doubt : doubts) variance += doubt.relative * doubt.relative;
    return variance > 0.0 ? two_digits(100.0 * std::sqrt(variance)) + " %" : std::string{};
}

std::string input_name(const capture::Bench& bench, std::size_t input) {
    return input < bench.inputs.size() ? visible_text(bench.inputs[input].name, 60) : "an unknown input";
}

std::string without_full_stop(const std::string& text) {
    std::string shown = visible_text(text);
    while (!shown.empty() && (shown.back() == '.' || shown.back() == ' ')) shown.pop_back();
    return shown;
}

std::string quoted_commands(std::string shown) {
    constexpr std::string_view command = "`assay ";
    for (std::size_t at = shown.find(command); at != std::string::npos; at = shown.find(command, at)) {
        const std::size_t end = shown.find('`', at + command.size());
        if (end == std::string::npos) break;
        shown.replace(end, 1, "”");
        shown.replace(at, 1, "“");
    }
    return shown;
}

std::string as_sentence(const std::string& text) {
    const std::string shown = quoted_commands(first_capital(without_full_stop(text)));
    if (shown.empty() || shown.back() == '?' || shown.back() == '!') return shown;
    return shown + '.';
}

}  // namespace assay::cli
