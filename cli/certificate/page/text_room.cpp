#include "cli/certificate/page/text_room.h"

#include <algorithm>
#include <array>

namespace assay::cli {
namespace {

/// Thousandths of the size, for U+0020 to U+007E.
constexpr std::array<int, 95> widths{
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333,  278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667,  611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278,  556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500,  500, 334, 260, 334, 584};
constexpr int advance_of_widest = 1015;

int width_of(char byte) {
    const auto code = static_cast<unsigned char>(byte);
    if (code >= 0x80U && code < 0xC0U) return 0;  // goes on with a letter that was counted
    if (code >= 0x20U && code < 0x7FU) return widths.at(code - 0x20U);
    return advance_of_widest;
}

}  // namespace

double text_width_mm(std::string_view utf8, double size_pt) {
    int sum = 0;
    for (const char byte : utf8) sum += width_of(byte);
    return sum / 1000.0 * size_pt * mm_per_pt;
}

int text_lines(std::string_view utf8, double column_mm, double size_pt) {
    if (utf8.empty()) return 0;
    const double space_mm = text_width_mm(" ", size_pt);
    int lines = 1;
    double used_mm = 0.0;
    while (!utf8.empty()) {
        const std::size_t end = std::min(utf8.find(' '), utf8.size());
        double word_mm = text_width_mm(utf8.substr(0, end), size_pt);
        if (used_mm > 0.0 && used_mm + space_mm + word_mm > column_mm) {
            ++lines;
            used_mm = 0.0;
        }
        if (used_mm > 0.0) used_mm += space_mm;
        for (; word_mm > column_mm; word_mm -= column_mm) ++lines;
        used_mm += word_mm;
        utf8.remove_prefix(std::min(end + 1, utf8.size()));
    }
    return lines;
}

}  // namespace assay::cli
