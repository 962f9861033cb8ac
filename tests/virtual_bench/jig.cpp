#include "jig.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace virtual_bench {

using Complex = std::complex<double>;

Complex impedance_ohm(const Jig& jig, double frequency_hz) {
    if (jig.resistor_ohm > 0.0) return jig.resistor_ohm;
    const Driver& d = jig.driver;
    const Complex s{0.0, 2.0 * std::numbers::pi * frequency_hz};
    // Bl^2 over the mechanics, both multiplied by s: at 0 Hz the spring holds the cone and nothing moves.
    const Complex motional = d.bl_tm * d.bl_tm * s /
                             (s * s * (d.mms_kg + jig.added_kg) + s * d.rms_kg_per_s + 1.0 / d.cms_m_per_n);
    const Complex coil = s * d.coil_h + s * d.coil_2_ohm * d.coil_2_h / (d.coil_2_ohm + s * d.coil_2_h);
    return d.re_ohm + coil + motional;
}

void transform(std::span<Complex> values, bool inverse) {
    const std::size_t size = values.size();
    for (std::size_t i = 1, j = 0; i < size; ++i) {
        std::size_t bit = size / 2;
        for (; (j & bit) != 0; bit /= 2) j ^= bit;
        j ^= bit;
        if (i < j) std::swap(values[i], values[j]);
    }
    for (std::size_t length = 2; length <= size; length *= 2) {
        std::vector<Complex> turn(length / 2);
        for (std::size_t k = 0; k < turn.size(); ++k)
            turn[k] = std::polar(1.0, (inverse ? 2.0 : -2.0) * std::numbers::pi * static_cast<double>(k) /
                                          static_cast<double>(length));
        for (std::size_t first = 0; first < size; first += length) {
            for (std::size_t k = 0; k < turn.size(); ++k) {
                const Complex even = values[first + k];
                const Complex odd = values[first + k + turn.size()] * turn[k];
                values[first + k] = even + odd;
                values[first + k + turn.size()] = even - odd;
            }
        }
    }
}

Kernel::Kernel(const Jig& jig, double rate_hz, std::size_t block) : parts(frames / block) {
    std::vector<Complex> sides[2] = {std::vector<Complex>(frames), std::vector<Complex>(frames)};
    for (std::size_t k = 0; k <= frames / 2; ++k) {
        const double share = static_cast<double>(k) / static_cast<double>(frames);
        const Complex z = impedance_ohm(jig, share * rate_hz);
        const Complex total = jig.generator_ohm + jig.series_ohm + z;
        const Complex late = std::polar(1.0, -2.0 * std::numbers::pi * share * static_cast<double>(early));
        const Complex generator_side = (jig.series_ohm + z) / total;
        const Complex values[2] = {generator_side, jig.one_node ? generator_side : z / total};
        for (std::size_t c = 0; c < 2; ++c) {
            sides[c][k] = values[c] * late;
            sides[c][(frames - k) % frames] = std::conj(sides[c][k]);
        }
    }
    for (std::size_t c = 0; c < 2; ++c) {
        sides[c][frames / 2] = sides[c][frames / 2].real();
        transform(sides[c], true);
        for (std::size_t part = 0; part < parts; ++part) {
            std::vector<Complex> taps(2 * block);
            for (std::size_t n = 0; n < block; ++n)
                taps[n] = sides[c][part * block + n].real() / static_cast<double>(frames);
            transform(taps, false);
            spectra[c].push_back(std::move(taps));
        }
    }
}

Convolver::Convolver(std::size_t block)
    : block_(block), heard_(Kernel::frames / block, std::vector<Complex>(2 * block)), last_(block) {}

void Convolver::run(const Kernel& kernel, std::span<const float> in, std::vector<float> (&out)[2]) {
    newest_ = (newest_ + heard_.size() - 1) % heard_.size();
    std::vector<Complex>& spectrum = heard_[newest_];
    for (std::size_t n = 0; n < block_; ++n) {
        spectrum[n] = last_[n];
        spectrum[n + block_] = last_[n] = static_cast<double>(in[n]);
    }
    transform(spectrum, false);
    for (std::size_t c = 0; c < 2; ++c) {
        std::vector<Complex> sum(2 * block_);
        for (std::size_t part = 0; part < kernel.parts; ++part) {
            const std::vector<Complex>& sound = heard_[(newest_ + part) % heard_.size()];
            const std::vector<Complex>& taps = kernel.spectra[c][part];
            // Half of the spectrum tells the other half: the sound is real.
            for (std::size_t k = 0; k <= block_; ++k) {
                const double re = sound[k].real() * taps[k].real() - sound[k].imag() * taps[k].imag();
                const double im = sound[k].real() * taps[k].imag() + sound[k].imag() * taps[k].real();
                sum[k] += Complex{re, im};
            }
        }
        for (std::size_t k = 1; k < block_; ++k) sum[2 * block_ - k] = std::conj(sum[k]);
        transform(sum, true);
        out[c].resize(block_);
        for (std::size_t n = 0; n < block_; ++n)
            out[c][n] = static_cast<float>(sum[n + block_].real() / static_cast<double>(2 * block_));
    }
}

}  // namespace virtual_bench
