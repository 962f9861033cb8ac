// The transform between the odd lines of a periodic signal and its values in time. A signal of odd lines
// alone is its own negative half a period later, so that half of it is all of it.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "capture/transform.h"

namespace assay::capture {

/// `half_frames` is a power of two: values of half a period, a period being twice as long.
struct HalfWaveTransform {
    explicit HalfWaveTransform(std::size_t half_frames);

    /// lines[m] belongs to exp(j 2 pi (2 m + 1) n / period); values are the real part of the sum.
    void values(const std::vector<std::complex<double>>& lines, std::vector<double>& out);
    /// Inverse of values() for real values whose lines end below half_frames / 2.
    void lines(const std::vector<double>& values, std::vector<std::complex<double>>& out);

  private:
    Transform transform_;
    std::vector<std::complex<double>> half_turn_{};  // exp(j 2 pi n / period)
    std::vector<std::complex<double>> work_{};
};

}  // namespace assay::capture
