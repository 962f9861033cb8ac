// Where the texts along the lines of claims and limits find room: off the curves, off each other.
#pragma once

#include <vector>

#include "cli/certificate/plots/plot_sheet.h"

namespace assay::cli {

/// Where a text begins, at half of its letters' height, as shares of the panel from its lower left corner.
struct RulePlace {
    double x = 0.0;
    double y = 0.0;
    bool upwards = false;  // it reads from below to above
};

/// A place for the text of each rule of the panel: above or below a level line, beside an upright one, there
/// lying or along it. As near to where the rule asks for it as curves, other lines and texts placed before it
/// allow.
std::vector<RulePlace> rule_places(const PlotPanel& panel, const PlotScale& x, double width_px,
                                   double height_px);

}  // namespace assay::cli
