#include "capture/tone/half_wave_transform.h"

#include <cmath>
#include <numbers>
#include <utility>

namespace assay::capture {

namespace {

using Complex = std::complex<double>;

/// Spelt out, since operator* looks for infinities first.
Complex product(const Complex& a, const Complex& b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

}  // namespace

HalfWaveTransform::HalfWaveTransform(std::size_t half_frames)
    : half_turn_(half_frames), reversed_(half_frames), work_(half_frames) {
    for (std::size_t n = 0; n < half_frames; ++n)
        half_turn_[n] =
            std::polar(1.0, std::numbers::pi * static_cast<double>(n) / static_cast<double>(half_frames));
    for (std::size_t n = 1; n < half_frames; ++n)
        reversed_[n] = reversed_[n / 2] / 2 + ((n % 2) != 0U ? half_frames / 2 : 0U);
}

// Cooley and Tukey's transform by halves, in place.
void HalfWaveTransform::transform(bool forward) {
    const std::size_t size = work_.size();
    for (std::size_t n = 0; n < size; ++n) {
        if (n < reversed_[n]) std::swap(work_[n], work_[reversed_[n]]);
    }
    for (std::size_t span = 1; span < size; span *= 2) {
        const std::size_t stride = size / span;  // in half turns
        for (std::size_t start = 0; start < size; start += 2 * span) {
            for (std::size_t k = 0; k < span; ++k) {
                const Complex& turn = half_turn_[k * stride];
                const Complex odd = product(work_[start + k + span], forward ? std::conj(turn) : turn);
                work_[start + k + span] = work_[start + k] - odd;
                work_[start + k] += odd;
            }
        }
    }
}

void HalfWaveTransform::values(const std::vector<Complex>& lines, std::vector<double>& out) {
    work_ = lines;
    work_.resize(half_turn_.size());
    transform(false);
    out.resize(work_.size());
    for (std::size_t n = 0; n < work_.size(); ++n) out[n] = product(work_[n], half_turn_[n]).real();
}

void HalfWaveTransform::lines(const std::vector<double>& values, std::vector<Complex>& out) {
    const double scale = 2.0 / static_cast<double>(values.size());
    for (std::size_t n = 0; n < values.size(); ++n) work_[n] = scale * values[n] * std::conj(half_turn_[n]);
    transform(true);
    out = work_;
}

}  // namespace assay::capture
