#include "analysis/driver/line_transfer.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "analysis/signal/fft.h"
#include "analysis/signal/lanes.h"
#include "analysis/signal/median.h"
#include "analysis/signal/windows.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

constexpr double stands_out = 8.0;  // residual power over its neighbours'; by chance about one in 1e7 lines
constexpr double least_spoilt =
    1e-9;  // residual over the line's own power: below it the ratio is good to 1e-4
constexpr std::size_t noise_lines = 12;  // lines to each side that share their noise
constexpr double weak_ratio = 3.0;       // a line's amplitude over its own noise, below which it is not there
constexpr double highest_share_of_rate = 0.47;

constexpr std::size_t block_samples = 256;
using Block = std::array<double, block_samples>;

struct Window {
    bool low_lobes = false;  // Blackman-Harris, else Hann
    std::size_t count = 0;
    double squares = 0.0;  // sums of its powers
    double fourth_powers = 0.0;

    /// Its values, a block at a time; each block begins anew, so that the turns' rounding does not add up.
    template <class Take>
    void go_through(Take take) const {
        const double step = two_pi / static_cast<double>(count);
        Block turns_re{};
        Block turns_im{};
        for (std::size_t k = 0; k < block_samples; ++k) {
            const Complex turn = std::polar(1.0, step * static_cast<double>(k));
            turns_re[k] = turn.real();
            turns_im[k] = turn.imag();
        }
        Block weights{};
        for (std::size_t from = 0; from < count; from += block_samples) {
            const Complex start = std::polar(1.0, step * (static_cast<double>(from) + 0.5));
            for (std::size_t k = 0; k < block_samples; ++k) {
                const double cosine = start.real() * turns_re[k] - start.imag() * turns_im[k];
                weights[k] = low_lobes ? blackman_harris_at(cosine) : hann_at(cosine);
            }
            take(from, std::span(weights).first(std::min(count - from, block_samples)));
        }
    }
};

Window window_of(bool low_lobes, std::size_t count) {
    Window window{low_lobes, count};
    window.go_through([&window](std::size_t, std::span<const double> weights) {
        Block squares{};
        for (std::size_t k = 0; k < weights.size(); ++k) squares[k] = weights[k] * weights[k];
        window.squares += lane_sum(squares);
        window.fourth_powers += lane_dot(squares, squares);
    });
    return window;
}

/// One side's record, and its spectrum up to the highest bin asked for.
struct Side {
    std::vector<Complex> bins{};
    double rms_v = 0.0;
    double peak_v = 0.0;
};

double mean_of(std::span<const float> samples) {
    double sum = 0.0;
    Block part{};
    for (std::size_t from = 0; from < samples.size(); from += block_samples) {
        const std::size_t end = std::min(samples.size() - from, block_samples);
        for (std::size_t k = 0; k < end; ++k) part[k] = static_cast<double>(samples[from + k]);
        sum += lane_sum(std::span(part).first(end));
    }
    return sum / static_cast<double>(samples.size());
}

Side side_of(const Signal& signal, const Window& window, std::size_t length, std::size_t bins) {
    Side side;
    const std::span<const float> samples = signal.samples.first(window.count);
    const double mean = mean_of(samples);
    std::vector<Complex> pairs = pairs_for(length);
    auto* weighted = reinterpret_cast<double*>(pairs.data());
    double square = 0.0;
    Block volts{};
    window.go_through([&](std::size_t from, std::span<const double> weights) {
        const std::size_t end = weights.size();
        for (std::size_t k = 0; k < end; ++k) {
            volts[k] = signal.volts_per_unit * (static_cast<double>(samples[from + k]) - mean);
            weighted[from + k] = weights[k] * volts[k];
        }
        const auto taken = std::span(volts).first(end);
        square += lane_dot(taken, taken);
        side.peak_v = std::max(side.peak_v, lane_peak(taken));
    });
    side.rms_v = std::sqrt(square / static_cast<double>(samples.size()));
    const std::vector<Complex> spectrum = spectrum_of_pairs(std::move(pairs));
    side.bins.assign(spectrum.begin(),
                     spectrum.begin() + static_cast<std::ptrdiff_t>(std::min(bins, spectrum.size())));
    return side;
}

std::int64_t nearest(double value) {
    return static_cast<std::int64_t>(std::llround(value));
}

/// Half the distance to the nearer neighbour, in bins.
double half_gap(const std::vector<double>& centres, std::size_t k) {
    double gap = 1e9;
    if (k > 0) gap = std::min(gap, centres[k] - centres[k - 1]);
    if (k + 1 < centres.size()) gap = std::min(gap, centres[k + 1] - centres[k]);
    return 0.5 * gap;
}

struct LineSums {
    double generator_power = 0.0;  // sum of |G|^2 over the main lobe
    double driver_power = 0.0;
    double residual = 0.0;  // mean |R|^2 a bin
};

}  // namespace

std::size_t LineTransfer::count(LineState state) const {
    return static_cast<std::size_t>(std::count_if(
        lines.begin(), lines.end(), [state](const TransferLine& line) { return line.state == state; }));
}

LineTransfer transfer_of_lines(const Signal& generator, const Signal& driver,
                               std::span<const double> lines_hz, double clock_ratio) {
    const double rate_hz = generator.rate_hz;
    LineTransfer result;
    const std::size_t count = std::min(generator.samples.size(), driver.samples.size());
    result.lines.resize(lines_hz.size());
    for (std::size_t k = 0; k < lines_hz.size(); ++k) result.lines[k].frequency_hz = lines_hz[k];
    if (count < 64 || lines_hz.empty()) {
        for (TransferLine& line : result.lines) line.state = LineState::weak;
        return result;
    }
    const std::size_t length = good_fft_length(count);
    const double bins_per_hz = static_cast<double>(length) / rate_hz;
    std::vector<double> centres(lines_hz.size());
    double closest = 1e9;
    for (std::size_t k = 0; k < lines_hz.size(); ++k) {
        centres[k] = lines_hz[k] / clock_ratio * bins_per_hz;
        if (k > 0) closest = std::min(closest, centres[k] - centres[k - 1]);
    }
    const double stretch = static_cast<double>(length) / static_cast<double>(count);
    // The window of the lower side lobes wherever its wider main lobe has room between the lines.
    const bool room = closest >= 7.9 * stretch;
    const Window window = window_of(room, count);
    const double lobe = (room ? 4.0 : 2.0) * stretch;
    const auto highest_bin =
        std::min(static_cast<std::int64_t>(length / 2) - 1, nearest(std::ceil(centres.back() + 2.0 * lobe)));
    const auto bins_kept = static_cast<std::size_t>(highest_bin) + 1;
    const Side generator_side = side_of(generator, window, length, bins_kept);
    const Side driver_side = side_of(driver, window, length, bins_kept);
    result.generator_rms_v = generator_side.rms_v;
    result.generator_peak_v = generator_side.peak_v;
    result.driver_rms_v = driver_side.rms_v;
    const auto generator_at = [&](std::int64_t bin) {
        return generator_side.bins[static_cast<std::size_t>(bin)];
    };
    const auto driver_at = [&](std::int64_t bin) { return driver_side.bins[static_cast<std::size_t>(bin)]; };

    // h is a projection with the window's square as weight: its noise, in bins' worth of residual.
    const double projection =
        static_cast<double>(length) * window.fourth_powers / (window.squares * window.squares);
    std::vector<LineSums> sums(lines_hz.size());
    for (std::size_t k = 0; k < lines_hz.size(); ++k) {
        TransferLine& line = result.lines[k];
        const double half = half_gap(centres, k);
        const double reach = std::min(lobe, half);
        const auto first = std::max<std::int64_t>(1, nearest(std::ceil(centres[k] - reach)));
        const auto last = std::min(highest_bin, nearest(std::floor(centres[k] + reach)));
        if (last < first || lines_hz[k] / clock_ratio > highest_share_of_rate * rate_hz) {
            line.state = LineState::weak;
            continue;
        }
        Complex cross{};
        for (std::int64_t bin = first; bin <= last; ++bin) {
            const Complex g = generator_at(bin);
            const Complex d = driver_at(bin);
            cross += std::conj(g) * d;
            sums[k].generator_power += std::norm(g);
            sums[k].driver_power += std::norm(d);
        }
        if (!(sums[k].generator_power > 0.0)) {
            line.state = LineState::weak;
            continue;
        }
        line.ratio = cross / sums[k].generator_power;
        const double wide = std::min(half, 2.0 * lobe);
        const auto from = std::max<std::int64_t>(1, nearest(std::ceil(centres[k] - wide)));
        const auto to = std::min(highest_bin, nearest(std::floor(centres[k] + wide)));
        double residual = 0.0;
        for (std::int64_t bin = from; bin <= to; ++bin)
            residual += std::norm(driver_at(bin) - line.ratio * generator_at(bin));
        // The fit took one complex unknown; neighbouring bins of a windowed record go together, so that it
        // took as many bins' worth of noise as the projection's own variance says.
        const double bins = static_cast<double>(to - from + 1);
        sums[k].residual = residual / std::max(bins - projection, 1.0);
        // Parseval: a sine of amplitude A spreads A^2 / 4 times window.squares times the length over its
        // lobe.
        const double power_to_v = 2.0 / (window.squares * static_cast<double>(length));
        line.generator_v = std::sqrt(sums[k].generator_power * power_to_v);
        line.driver_v = std::sqrt(sums[k].driver_power * power_to_v);
    }

    for (std::size_t k = 0; k < sums.size(); ++k) {
        TransferLine& line = result.lines[k];
        if (line.state == LineState::weak) continue;
        std::vector<double> around;
        const std::size_t from = k > noise_lines ? k - noise_lines : 0;
        const std::size_t to = std::min(k + noise_lines + 1, sums.size());
        for (std::size_t j = from; j < to; ++j) {
            if (result.lines[j].state != LineState::weak) around.push_back(sums[j].residual);
        }
        const double typical = median(around);
        const double spoilt = sums[k].residual * 2.0 * lobe / std::max(sums[k].driver_power, 1e-300);
        if (sums[k].residual > stands_out * typical && spoilt > least_spoilt)
            line.state = LineState::disturbed;
        double quiet = 0.0;
        double taken = 0.0;
        for (const double residual : around) {
            if (residual > stands_out * typical) continue;
            quiet += residual;
            taken += 1.0;
        }
        const double density = std::max(taken > 0.0 ? quiet / taken : 0.0, 0.0);
        const double complex_variance = density * projection / sums[k].generator_power;
        line.variance = 0.5 * complex_variance;
        const double noise_power = density * 2.0 * lobe;
        if (sums[k].generator_power < weak_ratio * weak_ratio * noise_power / (1.0 + std::norm(line.ratio)))
            line.state = LineState::weak;
    }
    std::vector<double> densities;
    for (std::size_t k = 0; k < sums.size(); ++k) {
        if (result.lines[k].state == LineState::sound) densities.push_back(sums[k].residual);
    }
    // One-sided: bins of positive frequency carry half the power.
    const double width_bins = (lines_hz.back() - lines_hz.front()) * bins_per_hz;
    result.noise_rms_v =
        std::sqrt(2.0 * median(densities) * width_bins / (window.squares * static_cast<double>(length)));
    return result;
}

}  // namespace assay::analysis
