// Random numbers of the simulation: the same on every machine for one seed, since none of the
// standard library's distributions is used.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace assay::capture {

/// xoshiro256++ 1.0 of D. Blackman and S. Vigna ("Scrambled linear pseudorandom number generators",
/// ACM Trans. Math. Softw. 47, 2021), its state filled by their splitmix64.
struct RandomSource {
    std::array<std::uint64_t, 4> state{};

    explicit RandomSource(std::uint64_t seed);
    std::uint64_t next();
    /// In the open interval (0, 1), 52 bits.
    double uniform();
    /// Mean 0, variance 1: the normal quantile of a uniform number.
    double normal();
};

/// A seed for a stream of its own, from a seed, a name and a number (FNV-1a, then splitmix64).
std::uint64_t stream_seed(std::uint64_t seed, std::string_view name, std::uint64_t number);

/// Quantile of the normal distribution, 0 < probability < 1: algorithm AS 241 (PPND16) of
/// M. J. Wichura, Applied Statistics 37 (1988) 477; relative error about 1e-16.
double normal_quantile(double probability);

}  // namespace assay::capture
