#include "analysis/signal/signal.h"

#include <algorithm>

namespace assay::analysis {

std::vector<double> volts_between(const Signal& plus, const Signal& minus) {
    std::vector<double> volts(plus.samples.size());
    for (std::size_t n = 0; n < volts.size(); ++n) {
        volts[n] = static_cast<double>(plus.samples[n]) * plus.volts_per_unit;
    }
    const std::size_t common = std::min(volts.size(), minus.samples.size());
    for (std::size_t n = 0; n < common; ++n) {
        volts[n] -= static_cast<double>(minus.samples[n]) * minus.volts_per_unit;
    }
    return volts;
}

}  // namespace assay::analysis
