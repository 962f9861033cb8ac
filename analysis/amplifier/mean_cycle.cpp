#include "analysis/amplifier/mean_cycle.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "analysis/units.h"

namespace assay::analysis {

namespace {
constexpr std::size_t bins = 360;

/// Straight line between the two neighbours in phase.
double value_at(const std::vector<double>& phases, const std::vector<double>& values, double phase) {
    const auto above = std::upper_bound(phases.begin(), phases.end(), phase);
    if (above == phases.begin() || above == phases.end()) return values.front();
    const auto k = static_cast<std::size_t>(above - phases.begin());
    const double part = (phase - phases[k - 1]) / (phases[k] - phases[k - 1]);
    return values[k - 1] + part * (values[k] - values[k - 1]);
}
}  // namespace

MeanCycle mean_cycle(std::span<const double> record, double rate_hz, double frequency_hz,
                     double phase_at_centre_rad) {
    std::vector<double> sums(bins, 0.0);
    std::vector<double> phase_sums(bins, 0.0);
    std::vector<int> counts(bins, 0);
    const double step = frequency_hz / rate_hz;
    const double start = phase_at_centre_rad / two_pi - step * 0.5 * static_cast<double>(record.size() - 1);
    for (std::size_t n = 0; n < record.size(); ++n) {
        double turns = start + step * static_cast<double>(n);
        turns -= static_cast<double>(static_cast<std::int64_t>(turns));  // std::floor is a call
        if (turns < 0.0) turns += 1.0;
        const std::size_t bin = std::min(static_cast<std::size_t>(turns * bins), bins - 1);
        sums[bin] += record[n];
        phase_sums[bin] += turns;
        ++counts[bin];
    }
    MeanCycle cycle;
    for (std::size_t bin = 0; bin < bins; ++bin) {
        if (counts[bin] == 0) continue;
        cycle.values.push_back(sums[bin] / counts[bin]);
        cycle.phases.push_back(phase_sums[bin] / counts[bin]);
    }
    return cycle;
}

Peaks peaks_of(const MeanCycle& cycle, double high_pass_ratio) {
    const std::size_t count = cycle.values.size();
    if (count < 3) return {};
    std::vector<double> widths(
        count);  // of each value's share of the cycle, for a mean that empty bins do not bias
    double mean = 0.0;
    for (std::size_t n = 0; n < count; ++n) {
        const double before = n == 0 ? cycle.phases[count - 1] - 1.0 : cycle.phases[n - 1];
        const double after = n + 1 == count ? cycle.phases[0] + 1.0 : cycle.phases[n + 1];
        widths[n] = 0.5 * (after - before);
        mean += widths[n] * cycle.values[n];
    }
    std::vector<double> shape(count);
    for (std::size_t n = 0; n < count; ++n) shape[n] = cycle.values[n] - mean;
    if (high_pass_ratio > 0.0) {
        // y' = x' - wc y  =>  x = y + wc * integral of y; wc over one cycle is 2 pi fc / f.
        std::vector<double> restored(shape);
        double integral = 0.0;
        double restored_mean = 0.0;
        for (std::size_t n = 0; n < count; ++n) {
            integral += 0.5 * shape[n] * widths[n];
            restored[n] += two_pi * high_pass_ratio * integral;
            integral += 0.5 * shape[n] * widths[n];
            restored_mean += restored[n] * widths[n];
        }
        for (std::size_t n = 0; n < count; ++n) shape[n] = restored[n] - restored_mean;
    }
    const double zero = 0.5 * (value_at(cycle.phases, shape, 0.25) + value_at(cycle.phases, shape, 0.75));
    const auto [lowest, highest] = std::minmax_element(shape.begin(), shape.end());
    return {*highest - zero, *lowest - zero};
}

}  // namespace assay::analysis
