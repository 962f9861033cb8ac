#include "analysis/signal/band_search.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "analysis/signal/fft.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

std::vector<Complex> analytic_band(std::vector<double> signal, double rate_hz, double low_hz,
                                   double high_hz) {
    const std::size_t size = signal.size();
    std::vector<Complex> bins = real_spectrum(signal, size);
    signal = {};  // of a long recording it is much
    bins.resize(size);
    const double bin_hz = rate_hz / static_cast<double>(size);
    for (std::size_t k = 0; k <= size / 2; ++k) {
        const double frequency_hz = static_cast<double>(k) * bin_hz;
        const bool inside = frequency_hz >= low_hz && frequency_hz <= high_hz && frequency_hz < rate_hz / 2.0;
        bins[k] *= inside ? 2.0 / static_cast<double>(size) : 0.0;
    }
    return transform(bins, true);
}

/// The waveform as the band sees it, with some room for the filter's ringing.
std::vector<Complex> template_of(const Waveform& wave, double rate_hz, double low_hz, double high_hz) {
    const auto count = static_cast<std::size_t>(std::ceil(wave.duration_s * rate_hz));
    std::vector<double> samples(good_fft_length(2 * count));
    for (std::size_t n = 0; n < count; ++n) samples[n] = wave.at(static_cast<double>(n) / rate_hz);
    std::vector<Complex> shape = analytic_band(std::move(samples), rate_hz, low_hz, high_hz);
    shape.resize(count);
    return shape;
}

constexpr std::size_t few_products = 40000;  // up to here the plain sums are faster than three transforms

/// Correlation at each lag 0 .. lags-1 of `wave` against `signal` (signal holds lags - 1 + wave.size()
/// samples).
std::vector<Complex> correlate(const std::vector<Complex>& signal, const std::vector<Complex>& wave,
                               std::size_t lags) {
    std::vector<Complex> result(lags);
    if (lags * wave.size() < few_products) {
        for (std::size_t lag = 0; lag < lags; ++lag) {
            Complex sum{};
            for (std::size_t n = 0; n < wave.size(); ++n) {
                const Complex& x = signal[lag + n];
                const Complex& w = wave[n];
                sum += Complex(x.real() * w.real() + x.imag() * w.imag(),
                               x.imag() * w.real() - x.real() * w.imag());
            }
            result[lag] = sum;
        }
        return result;
    }
    const std::size_t length = good_fft_length(signal.size() + wave.size());
    std::vector<Complex> padded_signal(signal);
    padded_signal.resize(length);
    std::vector<Complex> padded_wave(wave);
    padded_wave.resize(length);
    std::vector<Complex> bins = transform(padded_signal, false);
    const std::vector<Complex> wave_bins = transform(padded_wave, false);
    for (std::size_t k = 0; k < length; ++k) bins[k] *= std::conj(wave_bins[k]) / static_cast<double>(length);
    bins = transform(bins, true);
    std::copy_n(bins.begin(), lags, result.begin());
    return result;
}

}  // namespace

double BandSignal::peak() const {
    float peak = 0.0F;
    for (const auto& sample : samples) peak = std::max(peak, std::norm(sample));
    return std::sqrt(static_cast<double>(peak));
}

BandSignal band_limit(const std::vector<float>& signal, double rate_hz, double low_hz, double high_hz) {
    std::vector<double> padded(good_fft_length(signal.size() + static_cast<std::size_t>(rate_hz / 10.0)));
    std::copy(signal.begin(), signal.end(), padded.begin());
    const std::vector<Complex> samples = analytic_band(std::move(padded), rate_hz, low_hz, high_hz);
    BandSignal band{{}, rate_hz, low_hz, high_hz};
    band.samples.reserve(signal.size());
    for (std::size_t n = 0; n < signal.size(); ++n)
        band.samples.emplace_back(static_cast<std::complex<float>>(samples[n]));
    return band;
}

namespace {

constexpr std::ptrdiff_t most_lags = 1
                                     << 17;  // searched at a time: memory for a few seconds, not for an hour

/// The best of the lags `first` to `last`, in samples of the band's signal. Its neighbours are looked at for
/// the place between the samples, unless they lie outside `lowest` to `highest`.
Match best_of_lags(const BandSignal& band, const std::vector<Complex>& shape, double shape_energy,
                   std::ptrdiff_t first, std::ptrdiff_t last, std::ptrdiff_t lowest, std::ptrdiff_t highest) {
    const std::ptrdiff_t from_lag = std::max(first - 1, lowest);
    const std::ptrdiff_t to_lag = std::min(last + 1, highest);
    const auto lags = static_cast<std::size_t>(to_lag - from_lag + 1);
    std::vector<Complex> stretch(lags - 1 + shape.size());
    for (std::size_t n = 0; n < stretch.size(); ++n) {
        const std::ptrdiff_t from = from_lag + static_cast<std::ptrdiff_t>(n);
        if (from >= 0 && from < static_cast<std::ptrdiff_t>(band.samples.size())) {
            stretch[n] = static_cast<Complex>(band.samples[static_cast<std::size_t>(from)]);
        }
    }
    std::vector<double> running(stretch.size() + 1, 0.0);
    for (std::size_t n = 0; n < stretch.size(); ++n) running[n + 1] = running[n] + std::norm(stretch[n]);
    const double floor = 1e-9 * running.back() + 1e-30;
    const std::vector<Complex> sums = correlate(stretch, shape, lags);
    // Likeness is the correlation re the energy under the waveform; the floor keeps faint stretches, where it
    // would be chance over nothing, from being the best.
    std::vector<double> likeness(lags);
    const auto start = static_cast<std::size_t>(first - from_lag);
    const auto end = static_cast<std::size_t>(last - from_lag) + 1;
    std::size_t best = start;
    for (std::size_t lag = start; lag < end; ++lag) {
        const double energy = running[lag + shape.size()] - running[lag];
        likeness[lag] = std::abs(sums[lag]) / std::sqrt(shape_energy * (energy + floor));
        if (likeness[lag] > likeness[best]) best = lag;
    }
    double shift = 0.0;
    if (best > 0 && best + 1 < lags) {
        const double left = std::abs(sums[best - 1]);
        const double middle = std::abs(sums[best]);
        const double right = std::abs(sums[best + 1]);
        const double curvature = left - 2.0 * middle + right;
        if (curvature < 0.0) shift = std::clamp(0.5 * (left - right) / curvature, -1.0, 1.0);
    }
    const double energy = running[best + shape.size()] - running[best];
    return {(static_cast<double>(from_lag) + static_cast<double>(best) + shift) / band.rate_hz,
            likeness[best], std::sqrt(energy / static_cast<double>(shape.size()))};
}

}  // namespace

Match best_match(const BandSignal& band, const Waveform& wave, double from_s, double to_s) {
    const std::vector<Complex> shape = template_of(wave, band.rate_hz, band.low_hz, band.high_hz);
    const auto first = static_cast<std::ptrdiff_t>(std::floor(from_s * band.rate_hz));
    const auto last = static_cast<std::ptrdiff_t>(std::ceil(to_s * band.rate_hz));
    if (last < first || shape.empty()) return {};
    double shape_energy = 0.0;
    for (const Complex& value : shape) shape_energy += std::norm(value);
    std::optional<Match> best;
    for (std::ptrdiff_t lag = first; lag <= last; lag += most_lags) {
        const Match match =
            best_of_lags(band, shape, shape_energy, lag, std::min(lag + most_lags - 1, last), first, last);
        if (!best || match.likeness > best->likeness) best = match;
    }
    return *best;
}

}  // namespace assay::analysis
