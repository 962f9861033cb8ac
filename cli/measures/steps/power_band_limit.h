// Where the power has fallen to half of what it is at a frequency in the middle, from powers at a few
// frequencies.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/uncertainty/quantity.h"

namespace assay::cli {

struct PowerPoint {
    double frequency_hz = 0.0;
    analysis::Quantity power{};
};

/// Points rising in frequency, one of them at middle_hz. Between them the curve is a smooth one through the
/// points (Fritsch & Carlson), in dB over the logarithm of the frequency; straight lines would put the limit
/// up to a tenth too near to the middle. The doubt goes by the distance of the two. Nothing where the power
/// stays above to the last point.
std::optional<analysis::Quantity> half_power_limit(const std::vector<PowerPoint>& points, double middle_hz,
                                                   bool lower, const std::string& source);

}  // namespace assay::cli
