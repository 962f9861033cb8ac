// Between the sample rate of the sound card and the finer grid on which the amplifier is computed:
// half-band filters up and down by two, and a last step by any ratio, which is the record clock.
// All are Kaiser-windowed sincs (J. F. Kaiser, 1974) with 120 dB of stop band and linear phase.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace assay::capture {

/// Twice the rate. `protected_part` is the highest frequency kept clean, as a part of the input's
/// rate, below 0.5.
struct DoubleRate {
    explicit DoubleRate(double protected_part);
    /// out holds twice as many samples as in. Input time t (in samples) stands at output index
    /// 2 * (t + delay_samples()).
    void process(std::span<const double> in, std::span<double> out);
    double delay_samples() const { return static_cast<double>(side_.size()); }

  private:
    std::vector<double> side_{};  // taps beside the centre, odd offsets, times two
    std::vector<double> held_{};
};

/// Half the rate. `protected_part` is the highest frequency that no alias may reach, as a part of
/// the output's rate, at most 0.5; what lies between it and half the input's rate comes attenuated.
struct HalveRate {
    explicit HalveRate(double protected_part);
    /// out holds half as many samples as in. Input index i stands at output index i / 2 + delay_samples().
    void process(std::span<const double> in, std::span<double> out);
    double delay_samples() const { return static_cast<double>(side_.size()) - 1.0; }

  private:
    std::vector<double> side_{};
    std::vector<double> held_{};
};

/// Values of a signal of twice the record rate at any position, cut off between 0.4535 and 0.5 of
/// the record rate. The kernel is tabulated at 512 phases and interpolated linearly: at 20 kHz and
/// 96 kHz the interpolation errs by less than -135 dB.
struct ClockStep {
    ClockStep();
    static constexpr std::ptrdiff_t reach = 172;  // input samples on each side

    /// Kernel for a position that lies `part` (0 <= part < 1) behind an input sample.
    void kernel(double part, std::span<double> taps) const;

  private:
    std::vector<double> table_{};
};

/// Sum of products, in a fixed order that a processor can do four at a time.
double inner_product(std::span<const double> a, std::span<const double> b);

}  // namespace assay::capture
