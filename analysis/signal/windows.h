// Window functions, symmetric about the centre of the record.
#pragma once

#include <cstddef>
#include <vector>

namespace assay::analysis {

/// The windows by the cosine of their place, 2 pi (n + 0.5) / N.
constexpr double hann_at(double cosine) {
    return 0.5 - 0.5 * cosine;
}

/// Four terms, side lobes below -92 dB, main lobe 4 bins to each side: F. J. Harris, "On the Use of Windows
/// for Harmonic Analysis with the Discrete Fourier Transform", Proc. IEEE 66(1), 1978 (minimum 4-term
/// Blackman-Harris).
constexpr double blackman_harris_at(double cosine) {
    // The multiples of the angle by Chebyshev's recurrence: one cosine a sample instead of three.
    const double twice = 2.0 * cosine * cosine - 1.0;
    const double thrice = 2.0 * cosine * twice - cosine;
    return 0.35875 - 0.48829 * cosine + 0.14128 * twice - 0.01168 * thrice;
}

/// 0.5 - 0.5 cos(2 pi (n + 0.5) / N): no sample is lost at the ends. Main lobe: 2 bins to each side.
std::vector<double> hann_window(std::size_t count);

}  // namespace assay::analysis
