#include "capture/tone/half_wave_transform.h"

#include <cmath>
#include <numbers>

namespace assay::capture {

HalfWaveTransform::HalfWaveTransform(std::size_t half_frames)
    : transform_(half_frames), half_turn_(half_frames), work_(half_frames) {
    for (std::size_t n = 0; n < half_frames; ++n)
        half_turn_[n] =
            std::polar(1.0, std::numbers::pi * static_cast<double>(n) / static_cast<double>(half_frames));
}

void HalfWaveTransform::values(const std::vector<std::complex<double>>& lines, std::vector<double>& out) {
    work_ = lines;
    work_.resize(half_turn_.size());
    transform_.backward(work_);
    out.resize(work_.size());
    for (std::size_t n = 0; n < work_.size(); ++n) out[n] = product(work_[n], half_turn_[n]).real();
}

void HalfWaveTransform::lines(const std::vector<double>& values, std::vector<std::complex<double>>& out) {
    const double scale = 2.0 / static_cast<double>(values.size());
    work_.resize(values.size());
    for (std::size_t n = 0; n < values.size(); ++n) work_[n] = scale * values[n] * std::conj(half_turn_[n]);
    transform_.forward(work_);
    out = work_;
}

}  // namespace assay::capture
