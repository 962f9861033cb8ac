// How many lines a text takes on paper, so that the first page can be filled without running over.
#pragma once

#include <string_view>

namespace assay::cli {

constexpr double mm_per_pt = 25.4 / 72.0;

/// Width in the page's sans-serif typeface. Its letters are as wide as those of Helvetica, whose widths are
/// published (Adobe Core 14 AFM files); letters beyond ASCII are taken as wide as the widest.
double text_width_mm(std::string_view utf8, double size_pt);

/// Lines of a text in a column, broken at spaces, or inside a word that is longer than the column. At least 1
/// for any text, 0 for none.
int text_lines(std::string_view utf8, double column_mm, double size_pt);

}  // namespace assay::cli
