// Mean square of noise-like signals within a band.
#pragma once

#include <span>

namespace assay::analysis {

/// Hann-weighted periodogram summed from low_hz to high_hz. Bias of white noise: none; a line loses nothing
/// but what its main lobe (two bins to each side) leaves in the band.
double band_mean_square(std::span<const double> record, double rate_hz, double low_hz, double high_hz);

}  // namespace assay::analysis
