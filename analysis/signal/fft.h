// Discrete Fourier transforms in double precision, the latest plans kept per thread: lane_fft.h from a
// thousand points of the factors 2, 3 and 5, KissFFT for the rest. Nothing is scaled: inverse(forward(x)) = n
// x.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace assay::analysis {

/// Smallest length of at least n that has only the factors 2, 3 and 5 and is even (other lengths are slow).
std::size_t good_fft_length(std::size_t n);

/// Bins 0..n/2 of a real signal padded with zeros to n (n even).
std::vector<std::complex<double>> real_spectrum(std::span<const double> signal, std::size_t n);

/// The same, of samples 2 k and 2 k + 1 as real and imaginary part of k: n / 2 of them, n even. Of a long
/// record it saves two copies.
std::vector<std::complex<double>> spectrum_of_pairs(std::vector<std::complex<double>> pairs);

/// n / 2 zeros for spectrum_of_pairs, with room for the one bin that it adds.
std::vector<std::complex<double>> pairs_for(std::size_t n);

/// Unscaled inverse of real_spectrum: 2 n samples from n + 1 bins of a real signal.
std::vector<double> real_signal(std::vector<std::complex<double>> bins);

/// Forward or unscaled inverse transform of complex data.
std::vector<std::complex<double>> transform(std::span<const std::complex<double>> data, bool inverse);

}  // namespace assay::analysis
