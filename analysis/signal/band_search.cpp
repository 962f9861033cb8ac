#include "analysis/signal/band_search.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>

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

// Up to here the plain sums are faster than three transforms.
constexpr std::size_t few_products = 40000;
constexpr std::size_t few_lags = 48;

/// One lag after the other: four beside each other.
ASSAY_WIDE void correlate_plainly(const std::vector<Complex>& signal, const std::vector<Complex>& wave,
                                  std::span<Complex> result) {
    constexpr std::size_t at_once = 4;
    for (std::size_t lag = 0; lag < result.size(); lag += at_once) {
        // By the wave's real and by its imaginary part, real and imaginary parts of the signal in turn.
        double by_re[2 * at_once] = {};
        double by_im[2 * at_once] = {};
        const std::size_t count = std::min(at_once, result.size() - lag);
        const auto* x = reinterpret_cast<const double*>(signal.data() + lag);
        const auto go = [&](std::size_t parts) {
            for (const Complex& w : wave) {
                for (std::size_t k = 0; k < parts; ++k) {
                    by_re[k] += x[k] * w.real();
                    by_im[k] += x[k] * w.imag();
                }
                x += 2;
            }
        };
        if (count == at_once)
            go(2 * at_once);
        else
            go(2 * count);
        for (std::size_t l = 0; l < count; ++l)
            result[lag + l] = {by_re[2 * l] + by_im[2 * l + 1], by_re[2 * l + 1] - by_im[2 * l]};
    }
}

/// Correlation at each lag 0 .. lags-1 of `wave` against `signal` (signal holds lags - 1 + wave.size()
/// samples).
std::vector<Complex> correlate(const std::vector<Complex>& signal, const std::vector<Complex>& wave,
                               std::size_t lags) {
    std::vector<Complex> result(lags);
    if (lags <= few_lags || lags * wave.size() < few_products) {
        correlate_plainly(signal, wave, result);
        return result;
    }
    // Around the end no lag that is asked for reaches.
    const std::size_t length = good_fft_length(signal.size());
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
constexpr double faint = 1e-9;  // of a stretch's energy: what is below is no place for a waveform

/// Every `step`th sample of the band from `first` on, zeros outside it.
std::vector<Complex> stretch_of(const BandSignal& band, std::ptrdiff_t first, std::size_t count,
                                std::ptrdiff_t step) {
    std::vector<Complex> stretch(count);
    for (std::size_t n = 0; n < count; ++n) {
        const std::ptrdiff_t from = first + static_cast<std::ptrdiff_t>(n) * step;
        if (from >= 0 && from < static_cast<std::ptrdiff_t>(band.samples.size()))
            stretch[n] = static_cast<Complex>(band.samples[static_cast<std::size_t>(from)]);
    }
    return stretch;
}

std::vector<double> running_energy(const std::vector<Complex>& stretch) {
    std::vector<double> running(stretch.size() + 1, 0.0);
    for (std::size_t n = 0; n < stretch.size(); ++n) running[n + 1] = running[n] + std::norm(stretch[n]);
    return running;
}

/// Lags to look at, in samples of the band's signal; those outside are not looked at even as neighbours.
struct Lags {
    std::ptrdiff_t first = 0;
    std::ptrdiff_t last = 0;
};

/// The best of some lags. `floor` keeps faint stretches, where likeness would be chance over nothing, from
/// being the best; nothing: what the stretch itself says.
Match best_of_lags(const BandSignal& band, const BandShape& shape, const Lags& some, const Lags& all,
                   std::optional<double> floor_given) {
    const std::size_t size = shape.samples.size();
    const std::ptrdiff_t from_lag = std::max(some.first - 1, all.first);
    const std::ptrdiff_t to_lag = std::min(some.last + 1, all.last);
    const auto lags = static_cast<std::size_t>(to_lag - from_lag + 1);
    const std::vector<Complex> stretch = stretch_of(band, from_lag, lags - 1 + size, 1);
    const std::vector<double> running = running_energy(stretch);
    const double floor = floor_given.value_or(faint * running.back() + 1e-30);
    const std::vector<Complex> sums = correlate(stretch, shape.samples, lags);
    // Likeness is the correlation re the energy under the waveform.
    std::vector<double> likeness(lags);
    const auto start = static_cast<std::size_t>(some.first - from_lag);
    const auto end = static_cast<std::size_t>(some.last - from_lag) + 1;
    std::size_t best = start;
    for (std::size_t lag = start; lag < end; ++lag) {
        const double energy = running[lag + size] - running[lag];
        likeness[lag] = std::abs(sums[lag]) / std::sqrt(shape.energy * (energy + floor));
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
    const double energy = running[best + size] - running[best];
    return {(static_cast<double>(from_lag) + static_cast<double>(best) + shift) / band.rate_hz,
            likeness[best], std::sqrt(energy / static_cast<double>(size))};
}

/// A lag of a coarse search that the best may lie beside.
struct Candidate {
    std::ptrdiff_t lag = 0;
    double likeness = 0.0;
    double floor = 0.0;
};

// The band is narrow against its rate: every few samples of it hold all that there is. Between two of those
// lags the likeness of a waveform that fills the band falls by no more than sin(x) / x with x = 0.6 pi / 2,
// to 0.86.
constexpr double samples_a_width = 0.6;
constexpr double may_be_best = 0.8;
constexpr std::size_t most_candidates = 64;

std::vector<Candidate> coarse_search(const BandSignal& band, const BandShape& shape, const Lags& all,
                                     std::ptrdiff_t step) {
    std::vector<Complex> wave;
    wave.reserve(shape.samples.size() / static_cast<std::size_t>(step) + 1);
    for (std::size_t n = 0; n < shape.samples.size(); n += static_cast<std::size_t>(step))
        wave.push_back(shape.samples[n]);
    double wave_energy = 0.0;
    for (const Complex& value : wave) wave_energy += std::norm(value);
    std::vector<Candidate> points;
    for (std::ptrdiff_t first = all.first; first <= all.last; first += most_lags * step) {
        const auto lags = static_cast<std::size_t>(std::min(most_lags, (all.last - first) / step + 1));
        const std::vector<Complex> stretch = stretch_of(band, first, lags - 1 + wave.size(), step);
        const std::vector<double> running = running_energy(stretch);
        const double floor = faint * running.back() + 1e-30;
        const std::vector<Complex> sums = correlate(stretch, wave, lags);
        for (std::size_t k = 0; k < lags; ++k) {
            const double energy = running[k + wave.size()] - running[k];
            points.push_back({first + static_cast<std::ptrdiff_t>(k) * step,
                              std::abs(sums[k]) / std::sqrt(wave_energy * (energy + floor)),
                              static_cast<double>(step) * floor});
        }
    }
    double best = 0.0;
    for (const Candidate& point : points) best = std::max(best, point.likeness);
    std::vector<Candidate> chosen;
    for (std::size_t k = 0; k < points.size(); ++k) {
        const double here = points[k].likeness;
        const bool top = (k == 0 || here >= points[k - 1].likeness) &&
                         (k + 1 == points.size() || here > points[k + 1].likeness);
        if (top && here >= may_be_best * best) chosen.push_back(points[k]);
    }
    std::stable_sort(chosen.begin(), chosen.end(),
                     [](const Candidate& a, const Candidate& b) { return a.likeness > b.likeness; });
    if (chosen.size() > most_candidates) chosen.resize(most_candidates);
    return chosen;
}

}  // namespace

BandShape shape_in(const BandSignal& band, const Waveform& wave) {
    BandShape shape{template_of(wave, band.rate_hz, band.low_hz, band.high_hz)};
    for (const Complex& value : shape.samples) shape.energy += std::norm(value);
    return shape;
}

Match best_match(const BandSignal& band, const BandShape& shape, double from_s, double to_s) {
    const Lags all{static_cast<std::ptrdiff_t>(std::floor(from_s * band.rate_hz)),
                   static_cast<std::ptrdiff_t>(std::ceil(to_s * band.rate_hz))};
    if (all.last < all.first || shape.samples.empty()) return {};
    const auto step =
        static_cast<std::ptrdiff_t>(samples_a_width * band.rate_hz / (band.high_hz - band.low_hz));
    if (step < 2 || all.last - all.first < static_cast<std::ptrdiff_t>(few_lags))
        return best_of_lags(band, shape, all, all, std::nullopt);
    std::optional<Match> best;
    for (const Candidate& candidate : coarse_search(band, shape, all, step)) {
        const Lags around{std::max(candidate.lag - step, all.first),
                          std::min(candidate.lag + step, all.last)};
        const Match match = best_of_lags(band, shape, around, all, candidate.floor);
        if (!best || match.likeness > best->likeness) best = match;
    }
    return best.value_or(Match{});
}

Match best_match(const BandSignal& band, const Waveform& wave, double from_s, double to_s) {
    return best_match(band, shape_in(band, wave), from_s, to_s);
}

}  // namespace assay::analysis
