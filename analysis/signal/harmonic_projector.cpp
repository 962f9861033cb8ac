#include "analysis/signal/harmonic_projector.h"

#include <algorithm>
#include <cmath>

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

}  // namespace

[[gnu::always_inline]] inline void HarmonicProjector::turn(ComplexEight& phasor, const ComplexEight& turns) {
    const Eight re = phasor.re * turns.re - phasor.im * turns.im;
    phasor.im = phasor.re * turns.im + phasor.im * turns.re;
    phasor.re = re;
}

[[gnu::always_inline]] inline void HarmonicProjector::add_turned(const ComplexEight& products,
                                                                 const ComplexEight& turns,
                                                                 ComplexEight& sum) {
    sum.re += turns.re * products.re - turns.im * products.im;
    sum.im += turns.re * products.im + turns.im * products.re;
}

HarmonicProjector::HarmonicProjector(std::span<const double> record)
    : record_(record), tiles_((record.size() + row_samples * lanes - 1) / (row_samples * lanes)) {
    for (std::size_t row = 0; row * row_samples < record.size(); ++row) {
        Tile& tile = tiles_[row / lanes];
        const std::size_t lane = row % lanes;
        double samples[row_samples] = {};
        const std::span<const double> rest = record.subspan(row * row_samples);
        std::copy_n(rest.begin(), std::min(rest.size(), row_samples), samples);
        for (std::size_t m = 0; m < half; ++m) {
            tile.even[m][lane] = samples[half + m] + samples[half - 1 - m];
            tile.odd[m][lane] = samples[half + m] - samples[half - 1 - m];
        }
    }
}

void HarmonicProjector::set_basis(double omega, int harmonics) {
    omega_ = omega;
    waves_.resize(static_cast<std::size_t>(harmonics) + 1);
    double turn_re[half];
    double turn_im[half];
    for (std::size_t m = 0; m < half; ++m) {
        const double distance = static_cast<double>(m) + 0.5;
        const Complex turn = std::polar(1.0, omega * distance);
        turn_re[m] = waves_[0].cosine[m] = turn.real();
        turn_im[m] = waves_[0].sine[m] = turn.imag();
    }
    for (std::size_t k = 1; k + 1 < waves_.size(); ++k) {
        const Wave& last = waves_[k - 1];
        for (std::size_t m = 0; m < half; ++m) {
            waves_[k].cosine[m] = last.cosine[m] * turn_re[m] - last.sine[m] * turn_im[m];
            waves_[k].sine[m] = last.cosine[m] * turn_im[m] + last.sine[m] * turn_re[m];
        }
    }
    for (std::size_t m = 0; m < half; ++m) {
        const double distance = static_cast<double>(m) + 0.5;
        waves_.back().cosine[m] = distance * turn_re[m];
        waves_.back().sine[m] = distance * turn_im[m];
    }
}

double HarmonicProjector::middle(std::size_t row) const {
    return static_cast<double>(row * row_samples) + (static_cast<double>(half) - 0.5) -
           0.5 * static_cast<double>(record_.size() - 1);
}

[[gnu::always_inline]] inline void HarmonicProjector::take_off(std::size_t tile, std::size_t m,
                                                               const Eight& even, const Eight& odd,
                                                               std::span<double> left) const {
    const Eight behind = even + odd;
    const Eight before = even - odd;
    std::size_t n = tile * lanes * row_samples + half;
    for (std::size_t l = 0; l < lanes; ++l, n += row_samples) {
        if (n + m < left.size()) left.data()[n + m] = record_.data()[n + m] - behind[l];
        if (n - 1 - m < left.size()) left.data()[n - 1 - m] = record_.data()[n - 1 - m] - before[l];
    }
}

void HarmonicProjector::set_middles(std::size_t tile, Eight& places, ComplexEight& turns) const {
    for (std::size_t l = 0; l < lanes; ++l) {
        places[l] = middle(tile * lanes + l);
        const Complex turn = std::polar(1.0, omega_ * places[l]);
        turns.re[l] = turn.real();
        turns.im[l] = turn.imag();
    }
}

template <std::size_t count>
[[gnu::always_inline]] inline void HarmonicProjector::multiply(const Eight* with_cosine,
                                                               const Eight* with_sine, const Wave* wave,
                                                               ComplexEight* products) {
    Eight re[count] = {};
    Eight im[count] = {};
    for (std::size_t m = 0; m < half; ++m) {
        for (std::size_t w = 0; w < count; ++w) {
            re[w] += with_cosine[m] * wave[w].cosine[m];
            im[w] += with_sine[m] * wave[w].sine[m];
        }
    }
    for (std::size_t w = 0; w < count; ++w) {
        products[w].re = re[w];
        products[w].im = im[w];
    }
}

ASSAY_WIDE std::vector<Complex> HarmonicProjector::project() const {
    const std::size_t harmonics = waves_.size() - 1;
    std::vector<ComplexEight> sums(waves_.size());
    ComplexEight products[2];
    for (std::size_t t = 0; t < tiles_.size(); ++t) {
        const Tile& tile = tiles_[t];
        Eight places{};
        ComplexEight turns;
        set_middles(t, places, turns);
        ComplexEight phasor = turns;
        for (std::size_t k = 0; k < harmonics; ++k) {
            if (k % 2 == 0) {
                if (k + 1 < harmonics)
                    multiply<2>(tile.even, tile.odd, &waves_[k], products);
                else
                    multiply<1>(tile.even, tile.odd, &waves_[k], products);
            }
            add_turned(products[k % 2], phasor, sums[k]);
            if (k == 0) {  // the middles' own part of the sum by distance
                products[0].re *= places;
                products[0].im *= places;
                add_turned(products[0], turns, sums[harmonics]);
            }
            turn(phasor, turns);
        }
        // Distances are odd about the middle.
        multiply<1>(tile.odd, tile.even, &waves_[harmonics], products);
        add_turned(products[0], turns, sums[harmonics]);
    }
    std::vector<Complex> result;
    result.reserve(sums.size());
    for (const ComplexEight& sum : sums) result.emplace_back(together(sum.re), together(sum.im));
    return result;
}

ASSAY_WIDE std::vector<double> HarmonicProjector::residual(double dc, const std::vector<Complex>& phasors,
                                                           Complex slope) const {
    constexpr std::size_t at_once = 2;
    std::vector<double> left(record_.size());
    const std::size_t harmonics = waves_.size() - 1;
    std::vector<ComplexEight> kept_weights(harmonics);
    ComplexEight* weights = kept_weights.data();
    const Wave* waves = waves_.data();
    for (std::size_t t = 0; t < tiles_.size(); ++t) {
        Eight places{};
        ComplexEight turns;
        set_middles(t, places, turns);
        ComplexEight phasor = turns;
        for (std::size_t k = 0; k < harmonics; ++k) {
            Eight re = phasors[k].real() + Eight{};
            Eight im = phasors[k].imag() + Eight{};
            if (k == 0) {
                re += slope.real() * places;
                im += slope.imag() * places;
            }
            weights[k].re = re * phasor.re - im * phasor.im;
            weights[k].im = re * phasor.im + im * phasor.re;
            turn(phasor, turns);
        }
        const Eight distance_re = slope.real() * turns.re - slope.imag() * turns.im;
        const Eight distance_im = slope.real() * turns.im + slope.imag() * turns.re;
        // Re(w e^{jp}) = Re w cos p - Im w sin p: cosines are even about the middle, but for those by
        // distance.
        for (std::size_t from = 0; from < half; from += at_once) {
            Eight even[at_once] = {};
            Eight odd[at_once] = {};
            for (std::size_t k = 0; k < harmonics; ++k) {
                for (std::size_t i = 0; i < at_once; ++i) {
                    even[i] += weights[k].re * waves[k].cosine[from + i];
                    odd[i] += weights[k].im * waves[k].sine[from + i];
                }
            }
            for (std::size_t i = 0; i < at_once; ++i) {
                const std::size_t m = from + i;
                even[i] = dc + (even[i] - distance_im * waves[harmonics].sine[m]);
                odd[i] = distance_re * waves[harmonics].cosine[m] - odd[i];
                take_off(t, m, even[i], odd[i], left);
            }
        }
    }
    return left;
}

}  // namespace assay::analysis
