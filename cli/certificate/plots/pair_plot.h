// Two units on one sheet: the curves of both and, below, how far the right one is from the left one.
#pragma once

#include <vector>

#include "cli/certificate/plots/plots.h"

namespace assay::cli {

/// For each test that both sessions have under one id, with an impedance (that of a fit where there is one)
/// or a gain: "free-air-pair.svg".
std::vector<NamedPlot> pair_plots(const Session& left, const Session& right);

}  // namespace assay::cli
