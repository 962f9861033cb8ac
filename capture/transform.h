// A plain Fourier transform of a power of two of complex values, for what is made on this side of the bench:
// tones and simulations.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

namespace assay::capture {

/// Spelt out, since operator* of std::complex looks for infinities first.
inline std::complex<double> product(const std::complex<double>& a, const std::complex<double>& b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

/// Sums of values times exp(-j 2 pi k n / size) forward, of exp(+j ...) backward; neither divides by the
/// size.
struct Transform {
    explicit Transform(std::size_t size);
    void forward(std::vector<std::complex<double>>& values) const { run(values, true); }
    void backward(std::vector<std::complex<double>>& values) const { run(values, false); }

  private:
    void run(std::vector<std::complex<double>>& values, bool forward) const;
    std::vector<std::complex<double>> turns_{};  // exp(j 2 pi n / size), half a turn of them
};

}  // namespace assay::capture
