// Window functions, symmetric about the centre of the record.
#pragma once

#include <cstddef>
#include <vector>

namespace assay::analysis {

/// 0.5 - 0.5 cos(2 pi (n + 0.5) / N): no sample is lost at the ends. Main lobe: 2 bins to each side.
std::vector<double> hann_window(std::size_t count);

/// Four terms, side lobes below -92 dB, main lobe 4 bins to each side: F. J. Harris, "On the Use of Windows
/// for Harmonic Analysis with the Discrete Fourier Transform", Proc. IEEE 66(1), 1978 (minimum 4-term
/// Blackman-Harris).
std::vector<double> blackman_harris_window(std::size_t count);

}  // namespace assay::analysis
