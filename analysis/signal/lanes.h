// Sums over samples in eight running sums beside each other: one alone would wait for itself, and the
// compiler does the eight at once. One order whatever the processor: the same bits each time.
#pragma once

#include <complex>
#include <cstddef>
#include <span>

namespace assay::analysis {

inline constexpr std::size_t lanes = 8;

/// Eight numbers that are computed with at once; + - * and [] work lane by lane (a vector of GCC's and
/// Clang's). Aligned as plain numbers are: glibc's aligned allocation takes new memory each time (seen: 20 MB
/// over a hundred captures).
using Eight [[gnu::vector_size(lanes * sizeof(double)), gnu::aligned(16)]] = double;

/// The sum of eight lanes.
template <class Lanes>
auto together(const Lanes& x) {
    return ((x[0] + x[1]) + (x[2] + x[3])) + ((x[4] + x[5]) + (x[6] + x[7]));
}
inline double together(const Eight& x) {  // by name: a template's parameter forgets how it is aligned
    const double each[lanes] = {x[0], x[1], x[2], x[3], x[4], x[5], x[6], x[7]};
    return together(each);
}

double lane_sum(std::span<const double> x);

/// Sum of x[n] y[n]; y as long as x at least.
double lane_dot(std::span<const double> x, std::span<const double> y);

/// Largest absolute value, 0 of none.
double lane_peak(std::span<const double> x);

/// Sum of x[n] (re[n] + j im[n]); both as long as x at least.
std::complex<double> lane_dot(std::span<const double> x, std::span<const double> re,
                              std::span<const double> im);

}  // namespace assay::analysis
