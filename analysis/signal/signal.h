// A stretch of one channel or of the difference of two, in volts.
#pragma once

#include <span>
#include <vector>

namespace assay::analysis {

/// Samples as stored (float, full scale ±1.0) with what makes volts of them. Computed in double.
struct Signal {
    std::span<const float> samples{};
    double rate_hz = 0.0;
    double volts_per_unit = 1.0;
};

/// Plus minus minus, in volts. An empty minus stands for the recorder's ground.
std::vector<double> volts_between(const Signal& plus, const Signal& minus);

}  // namespace assay::analysis
