#include "analysis/signal/sweep_response.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

#include "analysis/signal/fft.h"
#include "analysis/signal/lanes.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

constexpr double room_s = 5.0;             // before time 0, for harmonics, beyond the record's own length
constexpr double highest_of_rate = 0.49;   // recorders let nothing through above
constexpr double flat_below_start = 0.75;  // of start_hz: from there upwards the band is whole
constexpr double flat_above_stop = 1.02;   // of stop_hz
constexpr double flat_below_end = 0.955;
constexpr int highest_order_in_time = 20;  // above it harmonics of an amplifier are taken as gone
constexpr int noise_points_per_octave = 12;
constexpr double low_to_hz = 1500.0;  // up to there windows are long, and samples may be few
constexpr double low_rate_hz = 8.0 * low_to_hz;
constexpr int noise_windows = 4;

/// Seconds before and after the centre; a raised cosine takes the outer half of each.
struct Window {
    double before_s = 0.0;
    double after_s = 0.0;

    /// Integral of the square: the flat half, and three eighths of the falling one.
    double energy_s() const { return (before_s + after_s) * (0.5 + 0.5 * 0.375); }
};

Window window_for(double frequency_hz, int order, double growth_s) {
    Window window{0.015, 0.08};
    if (frequency_hz < low_to_hz) window = {0.08, 0.3};
    if (frequency_hz < 150.0) window = {0.45, 0.95};
    // Harmonics lie deep in the noise: their windows hold some forty cycles and no more.
    if (order > 1) {
        window = {std::min(std::max(20.0 / frequency_hz, 0.002), window.before_s),
                  std::min(std::max(40.0 / frequency_hz, 0.003), window.after_s)};
    }
    const double n = order;
    window.before_s = std::min(window.before_s, 0.5 * growth_s * std::log((n + 1.0) / n));
    if (order > 1) window.after_s = std::min(window.after_s, 0.6 * growth_s * std::log(n / (n - 1.0)));
    return window;
}

/// Turns of a phasor from the first sample of a block to each of its samples. Within a block they are
/// products of one turn; each block begins anew, so that rounding does not add up.
struct BlockTurns {
    static constexpr std::size_t size = 256;
    std::array<double, size> real{};
    std::array<double, size> imaginary{};

    explicit BlockTurns(double radians) {
        const Complex turn = std::polar(1.0, radians);
        Complex phasor{1.0, 0.0};
        for (std::size_t k = 0; k < size; ++k) {
            real[k] = phasor.real();
            imaginary[k] = phasor.imag();
            phasor *= turn;
        }
    }
};

}  // namespace

/// The impulse about a centre, times a window, in blocks whose weights are one kind each.
struct WindowedPiece {
    double centre_s = 0.0;
    double before_s = 0.0;  // the window's ends
    double after_s = 0.0;
    double rate_hz = 0.0;
    std::vector<double> samples{};       // block by block, the rest of each block zeros
    std::vector<std::int64_t> firsts{};  // sample of the impulse that each block begins at
};

namespace {

class PieceMaker {
  public:
    PieceMaker(std::span<const double> impulse, double rate_hz, double centre_s, const Window& window)
        : impulse_(impulse), rate_hz_(rate_hz), piece_{centre_s, window.before_s, window.after_s, rate_hz} {}

    WindowedPiece make() {
        const auto place = [&](double seconds) {
            return static_cast<std::int64_t>(std::ceil((piece_.centre_s + seconds) * rate_hz_));
        };
        const std::int64_t first = place(-piece_.before_s);
        const std::int64_t flat_first = place(-0.5 * piece_.before_s);
        const std::int64_t flat_end = place(0.5 * piece_.after_s);
        const auto end =
            static_cast<std::int64_t>(std::floor((piece_.centre_s + piece_.after_s) * rate_hz_)) + 1;
        add_edge(first, flat_first, -piece_.before_s);
        add(flat_first, flat_end, [](double*, std::size_t, std::size_t) {});
        add_edge(flat_end, end, piece_.after_s);
        return std::move(piece_);
    }

  private:
    /// The raised cosine that falls from the half of `edge_s` to nothing at it.
    void add_edge(std::int64_t from, std::int64_t end, double edge_s) {
        const double per_second = two_pi / edge_s;
        const BlockTurns turns(per_second / rate_hz_);
        add(from, end, [&](double* block, std::size_t count, std::size_t done) {
            const double seconds =
                static_cast<double>(from + static_cast<std::int64_t>(done)) / rate_hz_ - piece_.centre_s;
            const Complex start = std::polar(0.5, per_second * (seconds - 0.5 * edge_s));
            for (std::size_t k = 0; k < count; ++k)
                block[k] *= 0.5 + (start.real() * turns.real[k] - start.imag() * turns.imaginary[k]);
        });
    }

    template <typename Weigh>
    void add(std::int64_t from, std::int64_t end, const Weigh& weigh) {
        const auto size = static_cast<std::int64_t>(impulse_.size());
        for (std::int64_t n = from; n < end; n += static_cast<std::int64_t>(BlockTurns::size)) {
            const auto count = static_cast<std::size_t>(std::min<std::int64_t>(end - n, BlockTurns::size));
            const auto place = static_cast<std::size_t>(((n % size) + size) % size);
            const std::size_t to_end = std::min(count, impulse_.size() - place);
            const std::size_t at = piece_.samples.size();
            piece_.samples.resize(at + BlockTurns::size);
            double* block = piece_.samples.data() + at;
            std::copy_n(impulse_.begin() + static_cast<std::ptrdiff_t>(place), to_end, block);
            std::copy_n(impulse_.begin(), count - to_end, block + to_end);
            weigh(block, count, static_cast<std::size_t>(n - from));
            piece_.firsts.push_back(n);
        }
    }

    std::span<const double> impulse_;
    double rate_hz_;
    WindowedPiece piece_;
};

/// Fourier sum of a piece, at the tone's rate.
Complex fourier_sum(const WindowedPiece& piece, double frequency_hz) {
    const double omega = two_pi * frequency_hz;
    const BlockTurns turns(-omega / piece.rate_hz);
    Complex sum{};
    for (std::size_t b = 0; b < piece.firsts.size(); ++b) {
        const std::span block(piece.samples.data() + b * BlockTurns::size, BlockTurns::size);
        const Complex block_sum = lane_dot(block, turns.real, turns.imaginary);
        const double seconds = static_cast<double>(piece.firsts[b]) / piece.rate_hz - piece.centre_s;
        sum += block_sum * std::polar(1.0, -std::fmod(omega * seconds, two_pi));
    }
    return sum;
}

Complex transform_at(const SweepResponse& response, double frequency_hz, double centre_s,
                     const Window& window) {
    const bool low = frequency_hz < low_to_hz && response.low_rate_hz > 0.0;
    const double rate_hz = low ? response.low_rate_hz : response.rate_hz;
    const auto& last = response.last_piece;
    if (!last || last->centre_s != centre_s || last->before_s != window.before_s ||
        last->after_s != window.after_s || last->rate_hz != rate_hz) {
        PieceMaker maker(low ? response.low_impulse : response.impulse, rate_hz, centre_s, window);
        response.last_piece = std::make_shared<const WindowedPiece>(maker.make());
    }
    return fourier_sum(*response.last_piece, frequency_hz);
}

/// 0 at `zero_hz`, 1 from `one_hz` on, smooth in the logarithm of the frequency.
double edge(double frequency_hz, double zero_hz, double one_hz) {
    if (zero_hz == one_hz || (frequency_hz >= one_hz) == (one_hz > zero_hz)) return 1.0;
    const double part = std::log(frequency_hz / zero_hz) / std::log(one_hz / zero_hz);
    return 0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(part, 0.0, 1.0));
}

/// The sweep's spectrum on the bins of a record of `length` samples: sampled finely enough to hold all of it.
std::vector<Complex> sweep_spectrum(const SweepPlan& plan, double rate_hz, double start_s,
                                    std::size_t length) {
    std::size_t finer = 1;
    while (rate_hz * static_cast<double>(finer) < 2.02 * plan.to_hz) ++finer;
    std::vector<Complex> pairs = pairs_for(length * finer);
    const double fine_hz = rate_hz * static_cast<double>(finer);
    const auto first = static_cast<std::size_t>(std::max(std::ceil(start_s * fine_hz), 0.0));
    const auto last = static_cast<std::size_t>((start_s + plan.duration_s) * fine_hz);
    for (std::size_t n = first; n <= last && n < length * finer; ++n) {
        const double value = plan.at(static_cast<double>(n) / fine_hz - start_s);
        if (n % 2 == 0)
            pairs[n / 2].real(value);
        else
            pairs[n / 2].imag(value);
    }
    std::vector<Complex> bins = spectrum_of_pairs(std::move(pairs));
    bins.resize(length / 2 + 1);
    if (finer > 1) bins.shrink_to_fit();
    for (Complex& bin : bins) bin /= static_cast<double>(finer);
    return bins;
}

/// Where noise of one frequency is looked for, in seconds of the recording unless said.
struct NoiseSearch {
    double passed_s = 0.0;    // when the sweep passed that frequency
    double earliest_s = 0.0;  // how long before the linear response the last harmonic's lies
    double record_s = 0.0;
    double length_s = 0.0;  // of the circular record that the impulse is: beyond record_s it holds zeros
};

/// Centres of windows, in seconds of the impulse, whose noise was really recorded. The impulse at one time
/// holds a frequency as it came so long after the sweep passed it: about half of the times before the
/// harmonics stand for the zeros that fill the record up, in which there is no noise to be found.
std::vector<double> recorded_noise_s(const NoiseSearch& search, const Window& window) {
    constexpr double decay_s = 1.5;  // of the linear response, which comes round from the other end
    const double latest = search.passed_s - search.earliest_s - window.after_s;
    const double first = search.passed_s - search.length_s + decay_s + window.before_s;
    // The record itself, and the same one turn earlier: from, to of a window's centre.
    const std::array<std::pair<double, double>, 2> pieces{
        {{std::max(first, window.before_s), std::min(latest, search.record_s - window.after_s)},
         {std::max(first, window.before_s - search.length_s),
          std::min(latest, search.record_s - search.length_s - window.after_s)}}};
    double heard_s = 0.0;
    for (const auto& [from, to] : pieces) heard_s += std::max(to - from, 0.0);
    std::vector<double> centres;
    const double each_s = window.before_s + window.after_s;
    for (int k = 0; k < noise_windows && (k + 1) * each_s < heard_s + each_s; ++k) {
        double left_s = k * heard_s / noise_windows;
        for (const auto& [from, to] : pieces) {
            const double here_s = std::max(to - from, 0.0);
            if (left_s < here_s) {
                centres.push_back(to - left_s - search.passed_s);
                break;
            }
            left_s -= here_s;
        }
    }
    return centres;
}

std::vector<double> impulse_of(std::vector<Complex> bins, std::size_t length) {
    std::vector<double> impulse = real_signal(std::move(bins));
    for (double& sample : impulse) sample /= static_cast<double>(length);
    return impulse;
}

/// From the lowest bins alone, larger as its samples are fewer: sums are the same. What the taper does to
/// them lies in time, and in frequency, far from what windows of low frequencies see.
void add_low_impulse(SweepResponse& response, std::span<const Complex> bins, double bin_hz) {
    const std::size_t length = good_fft_length(static_cast<std::size_t>(low_rate_hz / bin_hz));
    const std::size_t half = length / 2;
    if (half + 1 >= bins.size()) return;
    response.low_rate_hz = static_cast<double>(length) * bin_hz;
    std::vector<Complex> low(bins.begin(), bins.begin() + static_cast<std::ptrdiff_t>(half) + 1);
    for (std::size_t k = half / 2; k <= half; ++k)
        low[k] *=
            edge(bin_hz * static_cast<double>(k), 0.5 * response.low_rate_hz, 0.25 * response.low_rate_hz);
    response.low_impulse = impulse_of(std::move(low), length);
}

}  // namespace

Complex SweepResponse::at(double output_hz, int order) const {
    const auto [place, fresh] = known.try_emplace({output_hz, order});
    if (fresh)
        place->second = transform_at(*this, output_hz, -growth_s * std::log(static_cast<double>(order)),
                                     window_for(output_hz, order, growth_s));
    return place->second;
}

double SweepResponse::noise_at(double output_hz, int order) const {
    if (noise_hz.size() < 2) return 0.0;
    const auto above = std::lower_bound(noise_hz.begin(), noise_hz.end(), output_hz);
    const auto place = static_cast<std::size_t>(
        std::clamp<std::ptrdiff_t>(above - noise_hz.begin(), 0, std::ssize(noise_hz) - 1));
    return noise_density[place] * std::sqrt(window_for(output_hz, order, growth_s).energy_s());
}

SweepResponse respond(std::span<const double> record, double rate_hz, double start_s, const SweepPlan& plan) {
    SweepResponse response;
    response.rate_hz = rate_hz;
    response.growth_s = plan.growth_s;
    response.to_hz = std::min(plan.to_hz, highest_of_rate * rate_hz);
    const std::size_t length = good_fft_length(record.size() + static_cast<std::size_t>(room_s * rate_hz));
    // The sweep's own spectrum first: it needs the most memory while it is made.
    std::vector<Complex> input = sweep_spectrum(plan, rate_hz, start_s, length);
    std::vector<Complex> bins = real_spectrum(record, length);
    const double bin_hz = rate_hz / static_cast<double>(length);
    const double flat_to_hz = std::min(flat_above_stop * plan.stop_hz, flat_below_end * response.to_hz);
    for (std::size_t k = 0; k < bins.size(); ++k) {
        const double frequency_hz = bin_hz * static_cast<double>(k);
        const bool inside =
            k > 0 && k < length / 2 && frequency_hz > plan.from_hz && frequency_hz < response.to_hz;
        const double band = !inside ? 0.0
                                    : edge(frequency_hz, plan.from_hz, flat_below_start * plan.start_hz) *
                                          edge(frequency_hz, response.to_hz, flat_to_hz);
        // std::complex looks for what is not a number in each product and quotient.
        const Complex& played = input[k];
        const double weight = inside ? band / std::norm(played) : 0.0;
        const Complex& heard = bins[k];
        bins[k] = {weight * (heard.real() * played.real() + heard.imag() * played.imag()),
                   weight * (heard.imag() * played.real() - heard.real() * played.imag())};
    }
    input = {};  // of a long record it is much
    add_low_impulse(response, bins, bin_hz);
    response.impulse = impulse_of(std::move(bins), length);

    // Earlier than all harmonics there is nothing but noise, of any frequency from when the sweep passed it.
    const double earliest_s = plan.growth_s * std::log(static_cast<double>(highest_order_in_time)) + 0.5;
    const double length_s = static_cast<double>(length) / rate_hz;
    const double record_s = static_cast<double>(record.size()) / rate_hz;
    std::vector<double> powers;
    for (const double frequency_hz :
         log_frequencies(plan.start_hz, std::min(plan.stop_hz, response.to_hz), noise_points_per_octave)) {
        const Window window = window_for(frequency_hz, 1, plan.growth_s);
        const double passed_s = start_s + plan.growth_s * std::log(frequency_hz / plan.from_hz);
        const std::vector<double> centres =
            recorded_noise_s({passed_s, earliest_s, record_s, length_s}, window);
        double power = 0.0;
        for (const double centre_s : centres)
            power += 0.5 * std::norm(transform_at(response, frequency_hz, centre_s, window));
        response.noise_hz.push_back(frequency_hz);
        powers.push_back(centres.empty() ? -1.0
                                         : power / static_cast<double>(centres.size()) / window.energy_s());
    }
    // Neighbours share their noise: the mean of seven points of four windows is good to a few per cent.
    std::vector<double> smooth(powers.size());
    for (std::size_t k = 0; k < smooth.size(); ++k) {
        double sum = 0.0;
        int count = 0;
        for (std::size_t j = k < 3 ? 0 : k - 3; j < std::min(k + 4, powers.size()); ++j) {
            if (powers[j] < 0.0) continue;
            sum += powers[j];
            ++count;
        }
        smooth[k] = count > 0 ? std::sqrt(sum / count) : 0.0;
    }
    response.noise_density = std::move(smooth);
    return response;
}

std::vector<double> log_frequencies(double start_hz, double stop_hz, int per_octave) {
    std::vector<double> frequencies{start_hz};
    const auto first = static_cast<int>(std::ceil(per_octave * std::log2(start_hz / 1000.0) + 1e-9));
    for (int k = first;; ++k) {
        const double frequency_hz = 1000.0 * std::exp2(static_cast<double>(k) / per_octave);
        if (frequency_hz >= stop_hz * (1.0 - 1e-9)) break;
        if (frequency_hz > start_hz * (1.0 + 1e-9)) frequencies.push_back(frequency_hz);
    }
    frequencies.push_back(stop_hz);
    return frequencies;
}

}  // namespace assay::analysis
