// Discrete Fourier transforms of long records, eight short ones at a time. n = n1 n2: transforms of length n1
// over eight neighbouring columns at once, a turn, transforms of length n2 over eight rows at once (the
// four-step form; D. H. Bailey, J. Supercomputing 4 (1990) 23, from memory). Each pass reads and writes whole
// cache lines, and the compiler does the eight side by side; a transform that goes through a long record in
// strides waits for memory instead. The short ones are autosorting (Stockham), radix 4, 2, 3 and 5.
//
// Range: n of the factors 2, 3 and 5 only, from a thousand or so. Every sum has one order: the same bits each
// time.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "analysis/signal/lanes.h"

namespace assay::analysis {

/// e^(-2 pi i m / n) for 0 <= m < n, as the product of two tables' entries: a table of all would be as long
/// as the record.
class Turns {
  public:
    explicit Turns(std::size_t n);
    std::complex<double> at(std::size_t m) const {
        const std::complex<double>& a = coarse_[m / fine_count];
        const std::complex<double>& b = fine_[m % fine_count];
        return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
    }

  private:
    static constexpr std::size_t fine_count = 1024;
    std::vector<std::complex<double>> coarse_{};
    std::vector<std::complex<double>> fine_{};
};

class LaneFft {
  public:
    /// One point of eight transforms.
    struct Block {
        double re[lanes];
        double im[lanes];
    };

    static bool can(std::size_t n);
    explicit LaneFft(std::size_t n);
    /// Unscaled. `in` and `out` are n long; they may be the same.
    void transform(std::span<const std::complex<double>> in, std::span<std::complex<double>> out,
                   bool inverse);

  private:
    /// Transforms of one length, eight at once; the result stands in `data` or in `spare`.
    struct Short {
        explicit Short(std::size_t n);
        Block* run(Block* data, Block* spare) const;

        std::size_t n = 0;
        std::vector<std::size_t> factors{};
        std::vector<std::complex<double>> turns{};
    };

    std::size_t n_;
    Short columns_;
    Short rows_;
    Turns turns_;
    std::vector<Block> lane_turns_{};  // by k1: e^(-2 pi i k1 lane / n)
    std::vector<Block> tile_{};
    std::vector<Block> spare_{};
    std::vector<std::complex<double>> middle_{};
};

}  // namespace assay::analysis
