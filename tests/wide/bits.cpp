// What the functions give that are compiled for several widths of vector, bit by bit: a line a function, a
// hash of all that it made. Built twice, with the wide ones and without; tests/end_to_end/wide_test.py holds
// both beside each other.
#include <bit>
#include <cmath>
#include <complex>
#include <cstdint>
#include <cstdio>
#include <span>
#include <vector>

#include "analysis/signal/band_search.h"
#include "analysis/signal/delay_track.h"
#include "analysis/signal/fft.h"
#include "analysis/signal/harmonic_fit.h"
#include "analysis/signal/lanes.h"
#include "analysis/units.h"
#include "capture/simulated/rate_change.h"
#include "capture/splitmix64.h"

namespace {

using namespace assay;

/// FNV-1a of bytes (its parameters from memory; any hash would do).
class Hash {
  public:
    void add(double value) { add_word(std::bit_cast<std::uint64_t>(value)); }
    void add(std::complex<double> value) {
        add(value.real());
        add(value.imag());
    }
    template <class T>
    void add(const std::vector<T>& values) {
        for (const T& value : values) add(value);
    }
    void add(const std::vector<float>& values) {
        for (const float value : values) add(static_cast<double>(value));
    }
    std::uint64_t value() const { return value_; }

  private:
    void add_word(std::uint64_t word) {
        for (int byte = 0; byte < 8; ++byte, word >>= 8U) value_ = (value_ ^ (word & 0xffU)) * 0x100000001b3U;
    }

    std::uint64_t value_ = 0xcbf29ce484222325U;
};

void tell(const char* what, const Hash& hash) {
    std::printf("%s %016llx\n", what, static_cast<unsigned long long>(hash.value()));
}

/// A tone with noise, so that every sum rounds.
std::vector<double> record(std::size_t count) {
    std::uint64_t state = 5;
    std::vector<double> samples(count);
    for (std::size_t n = 0; n < count; ++n) {
        const double noise = capture::splitmix64_uniform(state) - 0.5;
        samples[n] = std::sin(0.0652 * static_cast<double>(n)) + 0.01 * noise;
    }
    return samples;
}

std::vector<float> floats(const std::vector<double>& samples) {
    return {samples.begin(), samples.end()};
}

void sums() {
    Hash hash;
    for (const std::size_t count : {0U, 7U, 256U, 5003U}) {
        const std::vector<double> x = record(count);
        hash.add(analysis::lane_sum(x));
        hash.add(analysis::lane_dot(x, x));
        hash.add(analysis::lane_dot(x, x, x));
        hash.add(analysis::lane_peak(x));
    }
    tell("lanes", hash);
}

void fits() {
    Hash hash;
    for (const std::size_t count : {1000U, 28672U, 30001U}) {
        const auto fit = analysis::fit_harmonics(record(count), 96000.0, 996.1, {.harmonics = 20});
        hash.add(fit.frequency_hz);
        hash.add(fit.phasors);
        hash.add(fit.residual);
    }
    tell("harmonic-fit", hash);
}

void transforms() {
    Hash hash;
    for (const std::size_t count : {2048U, 15000U, 43740U}) {
        const auto bins = analysis::real_spectrum(record(count), count);
        hash.add(bins);
        hash.add(analysis::transform(bins, true));
        hash.add(analysis::real_signal(bins));
    }
    tell("transforms", hash);
}

void search() {
    const std::vector<double> samples = record(96000);
    analysis::Decimator decimator(96000.0, 3000.0);
    const std::vector<float> some = floats(samples);
    decimator.push(some.data(), some.size());
    const std::vector<float> fewer = decimator.finish();
    Hash decimated;
    decimated.add(fewer);
    tell("decimator", decimated);
    const analysis::BandSignal band = analysis::band_limit(fewer, decimator.rate_hz(), 500.0, 2000.0);
    const analysis::Waveform wave{
        0.02, [](double s) { return std::sin(analysis::two_pi * (700.0 * s + 20000.0 * s * s)); }};
    const analysis::Match match = analysis::best_match(band, wave, 0.0, 0.9);
    Hash found;
    found.add(match.at_s);
    found.add(match.likeness);
    found.add(match.level);
    tell("band-search", found);
}

void delays() {
    std::vector<double> lines_hz;
    for (int k = 0; k < 20; ++k) lines_hz.push_back(1200.0 + 20.0 * k + 0.37 * k * k);
    std::vector<double> samples = record(48000 * 4);
    for (std::size_t n = 0; n < samples.size(); ++n) {
        for (const double line_hz : lines_hz)
            samples[n] +=
                0.1 * std::sin(analysis::two_pi * line_hz / 48000.0 * static_cast<double>(n) + line_hz);
    }
    samples.erase(samples.begin() + 90000, samples.begin() + 90020);
    const auto track = analysis::track_delay(floats(samples), 48000.0, lines_hz, 1.0);
    Hash hash;
    hash.add(track.clock_ratio);
    for (const auto& found : track.breaks) hash.add(found.jump_s.value_or(0.0));
    tell("delay-track", hash);
}

void rates() {
    Hash hash;
    const std::vector<double> in = record(1003);
    std::vector<double> twice(2 * in.size());
    capture::DoubleRate(0.4535).process(in, twice);
    hash.add(twice);
    std::vector<double> again(in.size());
    capture::HalveRate(0.4535).process(twice, again);
    hash.add(again);
    hash.add(capture::inner_product(in, again));
    tell("rate-change", hash);
}

}  // namespace

int main() {
    sums();
    fits();
    transforms();
    search();
    delays();
    rates();
}
