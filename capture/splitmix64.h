// Random numbers in a few lines, the same on every machine, unlike those of the library's distributions: G.
// L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
#pragma once

#include <cstdint>

namespace assay::capture {

/// The next number of the sequence; `state` moves on.
inline std::uint64_t splitmix64(std::uint64_t& state) {
    state += 0x9e3779b97f4a7c15U;
    std::uint64_t mixed = state;
    mixed = (mixed ^ (mixed >> 30U)) * 0xbf58476d1ce4e5b9U;
    mixed = (mixed ^ (mixed >> 27U)) * 0x94d049bb133111ebU;
    return mixed ^ (mixed >> 31U);
}

/// 0 to below 1, 53 bits.
inline double splitmix64_uniform(std::uint64_t& state) {
    return static_cast<double>(splitmix64(state) >> 11U) * 0x1p-53;
}

}  // namespace assay::capture
