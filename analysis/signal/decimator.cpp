#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/alignment.h"
#include "analysis/signal/lanes.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double stop_db = 80.0;

/// Modified Bessel function of order zero, by its power series.
double bessel_i0(double x) {
    double sum = 1.0;
    double term = 1.0;
    for (int k = 1; k < 60; ++k) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

/// Kaiser-windowed low-pass; J. F. Kaiser's formulas for beta and length (Oppenheim & Schafer, Discrete-Time
/// Signal Processing, ch. 7; from memory).
std::vector<float> low_pass_taps(double pass_hz, double stop_hz, double rate_hz) {
    const double width = two_pi * (stop_hz - pass_hz) / rate_hz;
    const int half = static_cast<int>(std::ceil((stop_db - 8.0) / (2.285 * width) / 2.0));
    const double beta = 0.1102 * (stop_db - 8.7);
    const double cut = (pass_hz + stop_hz) / rate_hz;  // of half the rate
    std::vector<float> taps;
    double sum = 0.0;
    for (int n = -half; n <= half; ++n) {
        const double position = static_cast<double>(n) / (half + 1);
        const double window = bessel_i0(beta * std::sqrt(1.0 - position * position)) / bessel_i0(beta);
        const double sinc = n == 0 ? cut : std::sin(std::numbers::pi * cut * n) / (std::numbers::pi * n);
        taps.push_back(static_cast<float>(window * sinc));
        sum += window * sinc;
    }
    for (float& tap : taps) tap = static_cast<float>(tap / sum);
    return taps;
}

}  // namespace

Decimator::Decimator(double rate_hz, double pass_hz)
    : factor_(std::max(1, static_cast<int>(rate_hz / (4.0 * pass_hz)))), rate_hz_(rate_hz / factor_) {
    if (factor_ > 1) {
        taps_ = low_pass_taps(pass_hz, rate_hz_ - pass_hz, rate_hz);
        buffer_.assign(taps_.size() / 2, 0.0F);  // so that output n belongs to input n * factor
    }
}

template <std::size_t outputs>
[[gnu::always_inline]] inline void Decimator::make(std::size_t factor) {
    const float* from = buffer_.data() + read_;
    const float* taps = taps_.data();
    const std::size_t count = taps_.size();
    float sums[outputs][lanes] = {};
    std::size_t n = 0;
    for (; n + lanes <= count; n += lanes) {
        for (std::size_t output = 0; output < outputs; ++output) {
            for (std::size_t lane = 0; lane < lanes; ++lane)
                sums[output][lane] += taps[n + lane] * from[output * factor + n + lane];
        }
    }
    for (; n < count; ++n) {
        for (std::size_t output = 0; output < outputs; ++output)
            sums[output][0] += taps[n] * from[output * factor + n];
    }
    for (const auto& sum : sums) out_.push_back(together(sum));
}

ASSAY_WIDE void Decimator::emit() {
    const auto factor = static_cast<std::size_t>(factor_);
    // Four outputs beside each other, each with four running sums: a sum alone would wait for itself. Each
    // output is the same sum as if it were made alone.
    constexpr std::size_t together = 4;
    while (read_ + (together - 1) * factor + taps_.size() <= buffer_.size()) {
        make<together>(factor);
        read_ += together * factor;
    }
    while (read_ + taps_.size() <= buffer_.size()) {
        make<1>(factor);
        read_ += factor;
    }
    if (read_ > 65536) {
        const std::size_t drop = std::min(read_, buffer_.size());
        buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(drop));
        read_ -= drop;
    }
}

void Decimator::push(const float* samples, std::size_t count) {
    if (factor_ == 1) {
        out_.insert(out_.end(), samples, samples + count);
        return;
    }
    buffer_.insert(buffer_.end(), samples, samples + count);
    emit();
}

std::vector<float> Decimator::finish() {
    if (factor_ > 1) {
        buffer_.insert(buffer_.end(), taps_.size() / 2, 0.0F);
        emit();
    }
    return std::move(out_);
}

}  // namespace assay::analysis
