#include "analysis/signal/quasi_peak.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/fft.h"
#include "analysis/signal/weighting.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

// Fitted to the burst readings of BS.468-4: seconds.
constexpr double charge_s[2] = {1.38e-3, 0.220};
constexpr double discharge_s[2] = {0.282, 0.350};
constexpr double least_rate_hz = 176000.0;
constexpr double block_s = 0.2;  // the network rings for 2 ms; a quarter of it lies at each end
constexpr double settling_s = 1.0;
constexpr double piece_s = 0.5;

double share(double seconds, double rate_hz) {
    return -std::expm1(-1.0 / (seconds * rate_hz));
}

double deflection_of_a_volt(double rate_hz) {
    PeakRectifiers rectifiers(rate_hz);
    const auto count = static_cast<std::size_t>(4.0 * rate_hz);
    const auto last = static_cast<std::size_t>(0.1 * rate_hz);
    double sum = 0.0;
    for (std::size_t n = 0; n < count; ++n) {
        const double value = rectifiers.next(std::numbers::sqrt2 *
                                             std::sin(two_pi * 1000.0 * static_cast<double>(n) / rate_hz));
        if (n + last >= count) sum += value;
    }
    return sum / static_cast<double>(last);
}

}  // namespace

PeakRectifiers::PeakRectifiers(double rate_hz)
    : charge_{share(charge_s[0], rate_hz), share(charge_s[1], rate_hz)},
      discharge_{share(discharge_s[0], rate_hz), share(discharge_s[1], rate_hz)} {}

double PeakRectifiers::next(double volts) {
    double in = std::abs(volts);
    for (int k = 0; k < 2; ++k) {
        if (in > held_[k]) held_[k] += (in - held_[k]) * charge_[k];
        held_[k] -= held_[k] * discharge_[k];
        in = held_[k];
    }
    return in;
}

QuasiPeak::QuasiPeak(double rate_hz)
    : rate_hz_(rate_hz),
      block_(4 * good_fft_length(static_cast<std::size_t>(0.25 * block_s * rate_hz))),
      times_(static_cast<std::size_t>(std::max(1.0, std::ceil(least_rate_hz / rate_hz)))),
      per_volt_(deflection_of_a_volt(rate_hz * static_cast<double>(times_))),
      waiting_(block_ / 4, 0.0),
      rectifiers_(rate_hz * static_cast<double>(times_)) {
    for (std::size_t k = 0; k <= block_ / 2; ++k)
        network_.push_back(itu_468_response(static_cast<double>(k) * rate_hz / static_cast<double>(block_)));
}

void QuasiPeak::feed(std::span<const double> volts) {
    for (std::size_t first = 0; first < volts.size();) {
        const std::size_t count = std::min(volts.size() - first, block_ - waiting_.size());
        waiting_.insert(waiting_.end(), volts.begin() + static_cast<std::ptrdiff_t>(first),
                        volts.begin() + static_cast<std::ptrdiff_t>(first + count));
        first += count;
        if (waiting_.size() == block_) take_block();
    }
}

void QuasiPeak::take_block() {
    const std::vector<std::complex<double>> spectrum = real_spectrum(waiting_, block_);
    const std::size_t size = block_ * times_;
    std::vector<std::complex<double>> wide(size);
    // Positive frequencies alone, twice: the real part of the transform is the signal.
    for (std::size_t k = 1; k < block_ / 2; ++k) wide[k] = 2.0 * spectrum[k] * network_[k];
    const std::vector<std::complex<double>> weighted = transform(wide, true);
    const double rate_hz = rate_hz_ * static_cast<double>(times_);
    const auto settling = static_cast<std::size_t>(settling_s * rate_hz);
    const auto piece = static_cast<std::size_t>(piece_s * rate_hz);
    for (std::size_t n = size / 4; n < size / 4 * 3; ++n) {
        const double value = rectifiers_.next(weighted[n].real() / static_cast<double>(block_));
        if (read_++ < settling) continue;
        highest_ = std::max(highest_, value);
        sum_ += value;
        if (++in_piece_ < piece) continue;
        pieces_.push_back(sum_ / static_cast<double>(piece));
        sum_ = 0.0;
        in_piece_ = 0;
    }
    waiting_.erase(waiting_.begin(), waiting_.begin() + static_cast<std::ptrdiff_t>(block_ / 2));
}

QuasiPeakReading QuasiPeak::finish() const {
    QuasiPeakReading reading;
    reading.highest_v = highest_ / per_volt_;
    const auto count = static_cast<double>(pieces_.size());
    if (pieces_.empty()) return reading;
    double mean = 0.0;
    for (const double value : pieces_) mean += value / count;
    double square = 0.0;
    for (const double value : pieces_) square += (value - mean) * (value - mean);
    reading.typical_v = mean / per_volt_;
    if (count > 1.0) reading.doubt_v = std::sqrt(square / (count - 1.0) / count) / per_volt_;
    return reading;
}

}  // namespace assay::analysis
