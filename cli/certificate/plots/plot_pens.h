// Pens of all drawings: apart in lightness as well as in hue, and each with a dash and a shape of its own, so
// that they stay apart in grey.
#pragma once

#include <array>
#include <string_view>

namespace assay::cli {

struct PlotPen {
    std::string_view colour;
    std::string_view pale;  // dots under a line of the pen
    std::string_view dash;
    int shape;    // gnuplot's point types
    double fill;  // of bars
};
constexpr auto plot_pens = std::to_array<PlotPen>({{"#12405f", "#6f93ab", "solid", 7, 1.0},
                                                   {"#c2571a", "#e0a27f", "(12,5)", 9, 0.55},
                                                   {"#3f7d4e", "#93bb9d", "(3,4)", 5, 0.2},
                                                   {"#7a4a86", "#b798c0", "(14,4,3,4)", 13, 0.05}});

inline const PlotPen& plot_pen(std::size_t index) {
    return plot_pens[index % plot_pens.size()];
}

}  // namespace assay::cli
