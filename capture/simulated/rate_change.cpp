#include "capture/simulated/rate_change.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "capture/units.h"

namespace assay::capture {

namespace {

constexpr double stop_band_db = 120.0;
constexpr double beta = 0.1102 * (stop_band_db - 8.7);

double bessel_i0(double x) {
    double sum = 1.0;
    double term = 1.0;
    for (int k = 1; term > 1e-18 * sum; ++k) {
        term *= x * x / (4.0 * k * k);
        sum += term;
    }
    return sum;
}

/// `place` from -1 to 1.
double kaiser(double place) {
    return std::abs(place) >= 1.0 ? 0.0 : bessel_i0(beta * std::sqrt(1.0 - place * place)) / bessel_i0(beta);
}

/// Kaiser's estimate of the length for a transition as wide as a part of the sample rate.
double kaiser_length(double transition) {
    return (stop_band_db - 7.95) / (14.36 * transition) + 1.0;
}

/// The taps at offsets 1, 3, 5 ... of a half-band filter with sum 1 and centre tap 0.5.
std::vector<double> half_band_side(double transition) {
    const auto count = static_cast<std::size_t>(std::ceil((kaiser_length(transition) + 1.0) / 4.0));
    std::vector<double> side(count);
    double sum = 0.0;
    for (std::size_t k = 0; k < count; ++k) {
        const double offset = 2.0 * static_cast<double>(k) + 1.0;
        const double sinc = std::sin(0.5 * std::numbers::pi * offset) / (std::numbers::pi * offset);
        side[k] = sinc * kaiser(offset / (2.0 * static_cast<double>(count) + 1.0));
        sum += side[k];
    }
    for (double& tap : side) tap *= 0.25 / sum;
    return side;
}

void keep_last(std::vector<double>& held, std::size_t count) {
    held.erase(held.begin(), held.end() - static_cast<std::ptrdiff_t>(count));
}

/// Calls work(first, sums) for outputs first to first + sums.size(): eight at a time, what is left one by
/// one. Each output is a sum of its own, in the same order as alone; `sums` begin at zero.
template <class Work>
[[gnu::always_inline]] inline void beside_each_other(std::size_t count, const Work& work) {
    constexpr std::size_t at_once = 8;
    std::size_t first = 0;
    for (; first + at_once <= count; first += at_once) work(first, std::array<double, at_once>{});
    for (; first < count; ++first) work(first, std::array<double, 1>{});
}

constexpr std::size_t filter_phases = 512;
constexpr std::size_t taps = 2 * static_cast<std::size_t>(ClockStep::reach);
constexpr double cutoff = (0.22675 + 0.25) / 2.0;  // of the input's rate

}  // namespace

DoubleRate::DoubleRate(double protected_part) : side_(half_band_side(0.5 - protected_part)) {
    for (double& tap : side_) tap *= 2.0;
    held_.assign(2 * side_.size(), 0.0);
}

ASSAY_WIDE void DoubleRate::process(std::span<const double> in, std::span<double> out) {
    const std::size_t sides = side_.size();
    held_.insert(held_.end(), in.begin(), in.end());
    // The newest sample is held_[j + 2 * sides]; the output pair belongs to `sides` samples before it.
    const double* held = held_.data();
    const double* side = side_.data();
    const auto make = [&]<std::size_t lanes>(std::size_t j, std::array<double, lanes> sums)
        __attribute__((always_inline)) {
        const double* middle = held + j + sides;
        for (std::size_t k = 0; k < sides; ++k) {
            for (std::size_t lane = 0; lane < lanes; ++lane)
                sums[lane] += side[k] * (*(middle + lane - k) + middle[lane + 1 + k]);
        }
        for (std::size_t lane = 0; lane < lanes; ++lane) {
            out[2 * (j + lane)] = middle[lane];
            out[2 * (j + lane) + 1] = sums[lane];
        }
    };
    beside_each_other(in.size(), make);
    keep_last(held_, 2 * sides);
}

HalveRate::HalveRate(double protected_part) : side_(half_band_side(0.5 - protected_part)) {
    held_.assign(4 * side_.size() - 2, 0.0);
}

ASSAY_WIDE void HalveRate::process(std::span<const double> in, std::span<double> out) {
    const std::size_t sides = side_.size();
    held_.insert(held_.end(), in.begin(), in.end());
    const double* held = held_.data();
    const double* side = side_.data();
    const auto make = [&]<std::size_t lanes>(std::size_t j, std::array<double, lanes> sums)
        __attribute__((always_inline)) {
        const double* middle = held + 2 * j + 2 * sides;
        for (std::size_t lane = 0; lane < lanes; ++lane) sums[lane] = 0.5 * middle[2 * lane];
        for (std::size_t k = 0; k < sides; ++k) {
            for (std::size_t lane = 0; lane < lanes; ++lane)
                sums[lane] += side[k] * (*(middle + 2 * lane - 2 * k - 1) + middle[2 * lane + 2 * k + 1]);
        }
        for (std::size_t lane = 0; lane < lanes; ++lane) out[j + lane] = sums[lane];
    };
    beside_each_other(out.size(), make);
    keep_last(held_, 4 * sides - 2);
}

ClockStep::ClockStep() : table_((filter_phases + 1) * taps) {
    for (std::size_t phase = 0; phase <= filter_phases; ++phase) {
        double* row = table_.data() + phase * taps;
        const double part = static_cast<double>(phase) / static_cast<double>(filter_phases);
        double sum = 0.0;
        for (std::size_t k = 0; k < taps; ++k) {
            const double offset = static_cast<double>(k) - static_cast<double>(reach - 1) - part;
            const double angle = two_pi * cutoff * offset;
            const double sinc = std::abs(angle) < 1e-12 ? 1.0 : std::sin(angle) / angle;
            row[k] = sinc * kaiser(offset / static_cast<double>(reach));
            sum += row[k];
        }
        for (std::size_t k = 0; k < taps; ++k) row[k] /= sum;
    }
}

void ClockStep::kernel(double part, std::span<double> out) const {
    const double place = part * static_cast<double>(filter_phases);
    const auto row = std::min(static_cast<std::size_t>(place), filter_phases - 1);
    const double weight = place - static_cast<double>(row);
    const double* low = table_.data() + row * taps;
    const double* high = low + taps;
    for (std::size_t k = 0; k < taps; ++k) out[k] = low[k] + weight * (high[k] - low[k]);
}

ASSAY_WIDE double inner_product(std::span<const double> a, std::span<const double> b) {
    constexpr std::size_t lanes = 16;
    double sums[lanes] = {};
    const double* x = a.data();
    const double* y = b.data();
    const std::size_t whole = a.size() / lanes * lanes;
    for (std::size_t k = 0; k < whole; k += lanes) {
        for (std::size_t lane = 0; lane < lanes; ++lane) sums[lane] += x[k + lane] * y[k + lane];
    }
    for (std::size_t k = whole; k < a.size(); ++k) sums[k - whole] += x[k] * y[k];
    for (std::size_t apart = lanes / 2; apart > 0; apart /= 2) {
        for (std::size_t lane = 0; lane < apart; ++lane) sums[lane] += sums[lane + apart];
    }
    return sums[0];
}

}  // namespace assay::capture
