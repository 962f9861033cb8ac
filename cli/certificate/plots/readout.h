// What a pointer over a drawing reads: the points of its curves, kept in the drawing itself. The page's
// script finds them there; without scripts they do no harm.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace assay::cli {

struct ReadCurve {
    std::string name{};  // a user's text will do
    std::string unit{};  // as printed: "%"
    std::vector<std::pair<double, double>> points{};
    bool second_axis = false;  // drawn against y2
    std::size_t panel = 0;     // from the top
    double shift = 0.0;        // drawn so far to the right of its x
};

/// The SVG document that `draw` gave, with the attribute data-curves: the horizontal axis ("power", "W") and
/// the curves, to five digits.
std::string with_readout(const std::string& svg, const std::string& axis, const std::string& axis_unit,
                         const std::vector<ReadCurve>& curves);

}  // namespace assay::cli
