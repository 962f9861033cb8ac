#include "analysis/signal/band_power.h"

#include <cmath>
#include <vector>

#include "analysis/signal/fft.h"
#include "analysis/signal/windows.h"

namespace assay::analysis {

double band_mean_square(std::span<const double> record, double rate_hz, double low_hz, double high_hz) {
    thread_local std::vector<double> window;
    if (window.size() != record.size()) window = hann_window(record.size());
    std::vector<double> weighted(record.size());
    double window_energy = 0.0;
    for (std::size_t n = 0; n < record.size(); ++n) {
        weighted[n] = record[n] * window[n];
        window_energy += window[n] * window[n];
    }
    const std::size_t length = good_fft_length(record.size());
    const auto bins = real_spectrum(weighted, length);
    const double bin_hz = rate_hz / static_cast<double>(length);
    double sum = 0.0;
    for (std::size_t k = 0; k < bins.size(); ++k) {
        const double frequency_hz = static_cast<double>(k) * bin_hz;
        if (frequency_hz < low_hz || frequency_hz > high_hz) continue;
        sum += (k == 0 || k + 1 == bins.size() ? 1.0 : 2.0) * std::norm(bins[k]);
    }
    return sum / (static_cast<double>(length) * window_energy);
}

}  // namespace assay::analysis
