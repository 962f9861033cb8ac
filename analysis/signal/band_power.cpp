#include "analysis/signal/band_power.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include "analysis/signal/fft.h"
#include "analysis/signal/lanes.h"
#include "analysis/signal/median.h"
#include "analysis/signal/windows.h"

namespace assay::analysis {

namespace {

/// Bins [first, last) whose frequencies lie within the band, ends included.
std::pair<std::size_t, std::size_t> bins_of(const PowerSpectrum& spectrum, double low_hz, double high_hz) {
    const double slack = 1e-9;
    const auto first = static_cast<std::size_t>(std::ceil(std::max(low_hz, 0.0) / spectrum.bin_hz - slack));
    const auto end =
        static_cast<std::size_t>(std::floor(std::max(high_hz, 0.0) / spectrum.bin_hz + slack)) + 1;
    return {std::min(first, spectrum.bins.size()),
            std::clamp(end, first, std::max(first, spectrum.bins.size()))};
}

}  // namespace

double PowerSpectrum::within(double low_hz, double high_hz) const {
    const auto [first, end] = bins_of(*this, low_hz, high_hz);
    double sum = 0.0;
    for (std::size_t k = first; k < end; ++k) sum += bins[k];
    return sum;
}

double PowerSpectrum::noise_density(double low_hz, double high_hz) const {
    const auto [first, end] = bins_of(*this, low_hz, high_hz);
    if (first >= end) return 0.0;
    std::vector<double> band(end - first);
    for (std::size_t k = first; k < end; ++k) band[k - first] = bins[k];
    return median(std::move(band)) / std::numbers::ln2 / bin_hz;
}

PowerSpectrum power_spectrum(std::span<const double> record, double rate_hz) {
    thread_local std::vector<double> window;
    thread_local double window_energy = 0.0;
    if (window.size() != record.size()) {
        window = hann_window(record.size());
        window_energy = lane_dot(window, window);
    }
    const std::size_t length = good_fft_length(record.size());
    std::vector<std::complex<double>> pairs = pairs_for(length);
    const std::size_t whole = record.size() / 2;
    for (std::size_t k = 0; k < whole; ++k)
        pairs[k] = {record[2 * k] * window[2 * k], record[2 * k + 1] * window[2 * k + 1]};
    if (record.size() % 2 == 1) pairs[whole] = record[2 * whole] * window[2 * whole];
    const auto transformed = spectrum_of_pairs(std::move(pairs));
    PowerSpectrum spectrum;
    spectrum.bin_hz = rate_hz / static_cast<double>(length);
    spectrum.bins.resize(transformed.size());
    const double scale = 1.0 / (static_cast<double>(length) * window_energy);
    for (std::size_t k = 0; k < transformed.size(); ++k)
        spectrum.bins[k] = 2.0 * scale * std::norm(transformed[k]);
    spectrum.bins.front() *= 0.5;  // these two have one side only
    spectrum.bins.back() *= 0.5;
    return spectrum;
}

double band_mean_square(std::span<const double> record, double rate_hz, double low_hz, double high_hz) {
    return power_spectrum(record, rate_hz).within(low_hz, high_hz);
}

}  // namespace assay::analysis
