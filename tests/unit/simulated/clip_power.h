// The power at 1 % distortion of a simulated unit, by bisection over steady tones.
#pragma once

#include "unit/simulated/take.h"

namespace assay::capture::test {

/// Watts into `load_ohm` when the voltage seen by the load is channel a, or a less b where bridged.
/// 0.3 s to settle, then 100 whole cycles of 1 kHz.
inline double power_at_one_percent_w(const Bench& bench, std::vector<std::size_t> outputs,
                                     std::vector<std::size_t> loads, std::size_t channel, bool bridged) {
    constexpr double rate_hz = 96000.0;
    constexpr std::size_t first = 28800;
    constexpr std::size_t count = 9600;
    constexpr double frequency_hz = 1000.0;
    double low_dbfs = -30.0;
    double high_dbfs = 0.0;
    double power_w = 0.0;
    for (int step = 0; step < 15; ++step) {
        const double level_dbfs = 0.5 * (low_dbfs + high_dbfs);
        Channels channels = record(bench, steady_tone(frequency_hz, level_dbfs, 0.4), outputs, loads);
        std::vector<double>& seen = channels[channel];
        if (bridged) {
            for (std::size_t i = 0; i < seen.size(); ++i) seen[i] -= channels[1][i];
        }
        const double volts = rms(seen, first, count) * bench.inputs[0].volts_per_unit();
        const double load_ohm = bench.loads[loads.empty() ? 0 : loads[0]].resistance_ohm;
        power_w = volts * volts / load_ohm;
        (thd(seen, first, count, frequency_hz, rate_hz) > 0.01 ? high_dbfs : low_dbfs) = level_dbfs;
    }
    return power_w;
}

}  // namespace assay::capture::test
