#include "capture/transform.h"

#include <cassert>
#include <cmath>
#include <utility>

#include "capture/units.h"

namespace assay::capture {

namespace {

using Complex = std::complex<double>;

// Small enough that a part stays near the processor while all its stages are done.
constexpr std::size_t near_size = 4096;

void butterflies(Complex* values, std::size_t span, const std::vector<Complex>& turns, bool forward) {
    const std::size_t stride = turns.size() / span;
    for (std::size_t k = 0; k < span; ++k) {
        const Complex turn = forward ? std::conj(turns[k * stride]) : turns[k * stride];
        const Complex low = values[k];
        const Complex high = values[k + span];
        values[k] = low + high;
        values[k + span] = product(low - high, turn);
    }
}

/// Halves, then the halves of those: depth first, so that the memory is walked through few times.
void divide(Complex* values, std::size_t size, const std::vector<Complex>& turns, bool forward) {
    if (size > near_size) {
        butterflies(values, size / 2, turns, forward);
        divide(values, size / 2, turns, forward);
        divide(values + size / 2, size / 2, turns, forward);
        return;
    }
    for (std::size_t span = size / 2; span > 0; span /= 2) {
        for (std::size_t start = 0; start < size; start += 2 * span)
            butterflies(values + start, span, turns, forward);
    }
}

}  // namespace

Transform::Transform(std::size_t size) : turns_(size / 2) {
    assert(size >= 2 && (size & (size - 1)) == 0);
    for (std::size_t n = 0; n < turns_.size(); ++n)
        turns_[n] = std::polar(1.0, two_pi * static_cast<double>(n) / static_cast<double>(size));
}

// W. M. Gentleman and G. Sande's transform by halves: values come out in the order of reversed bits, which is
// then undone.
void Transform::run(std::vector<Complex>& values, bool forward) const {
    const std::size_t size = values.size();
    assert(size == 2 * turns_.size());
    divide(values.data(), size, turns_, forward);
    std::size_t reversed = 0;
    for (std::size_t n = 1; n < size; ++n) {
        std::size_t bit = size / 2;
        for (; (reversed & bit) != 0; bit /= 2) reversed ^= bit;
        reversed |= bit;
        if (n < reversed) std::swap(values[n], values[reversed]);
    }
}

}  // namespace assay::capture
