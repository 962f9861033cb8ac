#include "cli/certificate/plots/text_width.h"

#include <algorithm>
#include <string_view>

#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

constexpr double narrow_px = 4.4;
constexpr double common_px = 8.0;
constexpr double capital_px = 10.2;
constexpr double widest_px = 14.2;

double letter_px(char letter) {
    constexpr std::string_view narrow = " .,:;'|!ijlft()[]/\\`\"-";
    constexpr std::string_view widest = "WM@%m";
    if (narrow.find(letter) != std::string_view::npos) return narrow_px;
    if (widest.find(letter) != std::string_view::npos) return widest_px;
    return letter >= 'A' && letter <= 'Z' ? capital_px : common_px;
}

}  // namespace

double text_width_px(const std::string& text) {
    double width = 0.0;
    std::string others;  // beyond ASCII: as wide as a terminal's columns say
    for (const char letter : text) {
        if (static_cast<unsigned char>(letter) < 0x80)
            width += letter_px(letter);
        else
            others += letter;
    }
    return width + capital_px * static_cast<double>(columns_of(others));
}

std::string text_within(const std::string& text, double most_px) {
    std::size_t letters = 60;
    std::string shown = short_text(text, letters);
    while (letters > 1 && text_width_px(shown) > most_px) shown = short_text(text, --letters);
    return shown;
}

}  // namespace assay::cli
