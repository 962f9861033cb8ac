// Draws from one seed, so that a case is replayed by its seed alone. RapidCheck gives the seed; its own
// shrinking would measure a job some hundred times.
#pragma once

#include <rapidcheck.h>

#include <cmath>
#include <cstdint>
#include <random>
#include <string>
#include <vector>

namespace assay::drawn {

class Draw {
  public:
    explicit Draw(std::uint64_t seed) : random_(seed) {}

    double share() { return static_cast<double>(random_() >> 11U) * 0x1p-53; }
    bool chance(double probability) { return share() < probability; }
    std::size_t below(std::size_t count) { return static_cast<std::size_t>(random_() % count); }
    int from_to(int low, int high) {
        return low + static_cast<int>(below(static_cast<std::size_t>(high - low + 1)));
    }
    double between(double low, double high) { return low + (high - low) * share(); }
    /// Spread evenly over the decades; both ends above zero.
    double decades(double low, double high) { return low * std::pow(high / low, share()); }
    template <class T>
    const T& of(const std::vector<T>& list) {
        return list[below(list.size())];
    }
    std::string word(const std::vector<std::string>& list) { return of(list); }

    /// Any size and sign, all digits of a double in use: a text that drops one of them is found.
    double any() { return (chance(0.5) ? 1.0 : -1.0) * decades(1e-12, 1e12); }
    double any_positive() { return decades(1e-12, 1e12); }

    /// A value of a range with both ends allowed: often an end, seldom just beyond it.
    double within(double low, double high) {
        if (chance(0.003)) return std::nextafter(low, low - 1.0);
        if (chance(0.003)) return std::nextafter(high, high + 1.0);
        if (chance(0.15)) return low;
        if (chance(0.15)) return high;
        const double value = low > 0.0 && chance(0.7) ? decades(low, high) : between(low, high);
        return chance(0.5) ? value : std::min(high, std::max(low, std::round(value)));
    }

  private:
    std::mt19937_64 random_;
};

/// From the whole range from the first case on; a smaller seed is no simpler case.
inline std::uint64_t any_seed() {
    return *rc::gen::noShrink(rc::gen::resize(rc::kNominalSize, rc::gen::arbitrary<std::uint64_t>()));
}
inline Draw any_draw() {
    return Draw(any_seed());
}

}  // namespace assay::drawn
