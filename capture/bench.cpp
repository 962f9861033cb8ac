#include "capture/bench.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "capture/find_load.h"

namespace assay::capture {

namespace {
// Without a stated maximum a tone stays this far below full scale: a converter's interpolation
// filter overshoots between samples, and many play-back paths distort in the last decibel.
constexpr double unstated_limit_dbfs = -1.0;
}  // namespace

double Output::limit_dbfs() const {
    const bool in_volts = maximum_volts && volts_at_full_scale;
    if (!in_volts) return maximum_dbfs.value_or(unstated_limit_dbfs);
    // Of two limits the lower counts; above full scale there is nothing.
    return std::min(20.0 * std::log10(*maximum_volts / *volts_at_full_scale), maximum_dbfs.value_or(0.0));
}

double Meter::relative_standard_uncertainty(double reading_v) const {
    const double limit = accuracy_percent / 100.0 + digits * resolution_v / std::abs(reading_v);
    return limit / std::numbers::sqrt3;
}

std::string Load::in_words() const {
    return (bare_input ? "input \"" : "load \"") + name + "\"";
}

const Load* find_load(const Bench& bench, const std::string& name) {
    for (const Load& load : bench.loads) {
        if (load.name == name) return &load;
    }
    return nullptr;
}

}  // namespace assay::capture
