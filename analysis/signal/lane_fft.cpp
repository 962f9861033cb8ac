#include "analysis/signal/lane_fft.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;
using Block = LaneFft::Block;
constexpr std::size_t shortest = 1024;

Complex turn_of(std::size_t m, std::size_t n) {
    return std::polar(1.0, -two_pi * static_cast<double>(m) / static_cast<double>(n));
}

/// What divides n and lies next below its root.
std::size_t column_length(std::size_t n) {
    auto length = static_cast<std::size_t>(std::sqrt(static_cast<double>(n)));
    while (n % length != 0) --length;
    return length;
}

// The butterflies: a_k in, b_j = sum of a_k e^(-2 pi i j k / p) times the turn w_j out, lane by lane.

inline void put(Block& __restrict to, std::size_t l, double re, double im, const Complex& w) {
    to.re[l] = re * w.real() - im * w.imag();
    to.im[l] = re * w.imag() + im * w.real();
}

inline void butterfly2(const Block* __restrict x, std::size_t apart, Block* __restrict y, std::size_t step,
                       const Complex* w) {
    const Block& a = x[0];
    const Block& b = x[apart];
    Block out[2];
    for (std::size_t l = 0; l < lanes; ++l) {
        out[0].re[l] = a.re[l] + b.re[l];
        out[0].im[l] = a.im[l] + b.im[l];
        put(out[1], l, a.re[l] - b.re[l], a.im[l] - b.im[l], w[1]);
    }
    for (std::size_t j = 0; j < 2; ++j) y[j * step] = out[j];
}

inline void butterfly3(const Block* __restrict x, std::size_t apart, Block* __restrict y, std::size_t step,
                       const Complex* w) {
    constexpr double half_root = 0.86602540378443864676;
    const Block& a = x[0];
    const Block& b = x[apart];
    const Block& c = x[2 * apart];
    Block out[3];
    for (std::size_t l = 0; l < lanes; ++l) {
        const double sum_re = b.re[l] + c.re[l];
        const double sum_im = b.im[l] + c.im[l];
        const double off_re = half_root * (b.im[l] - c.im[l]);
        const double off_im = half_root * (c.re[l] - b.re[l]);
        const double mid_re = a.re[l] - 0.5 * sum_re;
        const double mid_im = a.im[l] - 0.5 * sum_im;
        out[0].re[l] = a.re[l] + sum_re;
        out[0].im[l] = a.im[l] + sum_im;
        put(out[1], l, mid_re + off_re, mid_im + off_im, w[1]);
        put(out[2], l, mid_re - off_re, mid_im - off_im, w[2]);
    }
    for (std::size_t j = 0; j < 3; ++j) y[j * step] = out[j];
}

inline void butterfly4(const Block* __restrict x, std::size_t apart, Block* __restrict y, std::size_t step,
                       const Complex* w) {
    const Block& a = x[0];
    const Block& b = x[apart];
    const Block& c = x[2 * apart];
    const Block& d = x[3 * apart];
    Block out[4];
    for (std::size_t l = 0; l < lanes; ++l) {
        const double even_re = a.re[l] + c.re[l];
        const double even_im = a.im[l] + c.im[l];
        const double far_re = a.re[l] - c.re[l];
        const double far_im = a.im[l] - c.im[l];
        const double odd_re = b.re[l] + d.re[l];
        const double odd_im = b.im[l] + d.im[l];
        const double side_re = b.im[l] - d.im[l];
        const double side_im = d.re[l] - b.re[l];
        out[0].re[l] = even_re + odd_re;
        out[0].im[l] = even_im + odd_im;
        put(out[1], l, far_re + side_re, far_im + side_im, w[1]);
        put(out[2], l, even_re - odd_re, even_im - odd_im, w[2]);
        put(out[3], l, far_re - side_re, far_im - side_im, w[3]);
    }
    for (std::size_t j = 0; j < 4; ++j) y[j * step] = out[j];
}

inline void butterfly5(const Block* __restrict x, std::size_t apart, Block* __restrict y, std::size_t step,
                       const Complex* w) {
    constexpr double cos1 = 0.30901699437494742410;
    constexpr double cos2 = -0.80901699437494742410;
    constexpr double sin1 = 0.95105651629515357212;
    constexpr double sin2 = 0.58778525229247312917;
    const Block& a = x[0];
    const Block& b = x[apart];
    const Block& c = x[2 * apart];
    const Block& d = x[3 * apart];
    const Block& e = x[4 * apart];
    Block out[5];
    for (std::size_t l = 0; l < lanes; ++l) {
        const double near_re = b.re[l] + e.re[l];
        const double near_im = b.im[l] + e.im[l];
        const double far_re = c.re[l] + d.re[l];
        const double far_im = c.im[l] + d.im[l];
        const double near_off_re = b.im[l] - e.im[l];
        const double near_off_im = e.re[l] - b.re[l];
        const double far_off_re = c.im[l] - d.im[l];
        const double far_off_im = d.re[l] - c.re[l];
        const double one_re = a.re[l] + cos1 * near_re + cos2 * far_re;
        const double one_im = a.im[l] + cos1 * near_im + cos2 * far_im;
        const double two_re = a.re[l] + cos2 * near_re + cos1 * far_re;
        const double two_im = a.im[l] + cos2 * near_im + cos1 * far_im;
        const double one_off_re = sin1 * near_off_re + sin2 * far_off_re;
        const double one_off_im = sin1 * near_off_im + sin2 * far_off_im;
        const double two_off_re = sin2 * near_off_re - sin1 * far_off_re;
        const double two_off_im = sin2 * near_off_im - sin1 * far_off_im;
        out[0].re[l] = a.re[l] + near_re + far_re;
        out[0].im[l] = a.im[l] + near_im + far_im;
        put(out[1], l, one_re + one_off_re, one_im + one_off_im, w[1]);
        put(out[2], l, two_re + two_off_re, two_im + two_off_im, w[2]);
        put(out[3], l, two_re - two_off_re, two_im - two_off_im, w[3]);
        put(out[4], l, one_re - one_off_re, one_im - one_off_im, w[4]);
    }
    for (std::size_t j = 0; j < 5; ++j) y[j * step] = out[j];
}

/// block times both turns.
inline void turn_lanes(Block& __restrict block, const Block& lane_turns, const Complex& turn) {
    for (std::size_t l = 0; l < lanes; ++l) {
        const double re = lane_turns.re[l] * turn.real() - lane_turns.im[l] * turn.imag();
        const double im = lane_turns.re[l] * turn.imag() + lane_turns.im[l] * turn.real();
        const double block_re = block.re[l];
        block.re[l] = block_re * re - block.im[l] * im;
        block.im[l] = block_re * im + block.im[l] * re;
    }
}

/// All of them nearly always, which the compiler then knows.
template <class Work>
[[gnu::always_inline]] inline void for_lanes(std::size_t count, const Work& work) {
    if (count == lanes) {
        for (std::size_t l = 0; l < lanes; ++l) work(l);
    } else {
        for (std::size_t l = 0; l < count; ++l) work(l);
    }
}

}  // namespace

Turns::Turns(std::size_t n) {
    for (std::size_t m = 0; m < std::min(n, fine_count); ++m) fine_.push_back(turn_of(m, n));
    for (std::size_t m = 0; m < n; m += fine_count) coarse_.push_back(turn_of(m, n));
}

LaneFft::Short::Short(std::size_t length) : n(length) {
    std::size_t rest = length;
    for (const std::size_t factor : {4U, 2U, 3U, 5U}) {
        for (; rest % factor == 0; rest /= factor) factors.push_back(factor);
    }
    for (std::size_t m = 0; m < n; ++m) turns.push_back(turn_of(m, n));
}

ASSAY_WIDE LaneFft::Block* LaneFft::Short::run(Block* data, Block* spare) const {
    std::size_t left = n;
    std::size_t done = 1;
    for (const std::size_t factor : factors) {
        left /= factor;
        const std::size_t apart = done * left;
        for (std::size_t q = 0; q < left; ++q) {
            Complex w[5];
            for (std::size_t j = 1; j < factor; ++j) w[j] = turns[q * j * done];
            const Block* from = data + done * q;
            Block* to = spare + done * factor * q;
            const auto go = [&](auto butterfly) {
                for (std::size_t r = 0; r < done; ++r) butterfly(from + r, apart, to + r, done, w);
            };
            if (factor == 4) go(butterfly4);
            if (factor == 2) go(butterfly2);
            if (factor == 3) go(butterfly3);
            if (factor == 5) go(butterfly5);
        }
        done *= factor;
        std::swap(data, spare);
    }
    return data;
}

bool LaneFft::can(std::size_t n) {
    if (n < shortest) return false;
    for (const std::size_t factor : {2U, 3U, 5U}) {
        while (n % factor == 0) n /= factor;
    }
    return n == 1;
}

LaneFft::LaneFft(std::size_t n)
    : n_(n), columns_(column_length(n)), rows_(n / columns_.n), turns_(n), lane_turns_(columns_.n) {
    for (std::size_t k = 0; k < columns_.n; ++k) {
        for (std::size_t l = 0; l < lanes; ++l) {
            const Complex turn = turn_of(k * l, n);
            lane_turns_[k].re[l] = turn.real();
            lane_turns_[k].im[l] = turn.imag();
        }
    }
    tile_.resize(rows_.n);  // the longer of both
    spare_.resize(rows_.n);
}

// The inverse is the forward transform with real and imaginary parts in each other's place.
ASSAY_WIDE void LaneFft::transform(std::span<const Complex> in, std::span<Complex> out, bool inverse) {
    const std::size_t n1 = columns_.n;
    const std::size_t n2 = rows_.n;
    Block* tile = tile_.data();
    middle_.resize(n_);
    for (std::size_t j = 0; j < n2; j += lanes) {
        const std::size_t count = std::min(lanes, n2 - j);
        for (std::size_t i = 0; i < n1; ++i) {
            const Complex* from = in.data() + i * n2 + j;
            double* re = inverse ? tile[i].im : tile[i].re;
            double* im = inverse ? tile[i].re : tile[i].im;
            for_lanes(count, [&](std::size_t l) {
                re[l] = from[l].real();
                im[l] = from[l].imag();
            });
        }
        Block* result = columns_.run(tile, spare_.data());
        for (std::size_t k = 0; k < n1; ++k) {
            turn_lanes(result[k], lane_turns_[k], turns_.at(j * k));
            Complex* to = middle_.data() + k * n2 + j;
            for_lanes(count, [&](std::size_t l) { to[l] = {result[k].re[l], result[k].im[l]}; });
        }
    }
    for (std::size_t k = 0; k < n1; k += lanes) {
        const std::size_t count = std::min(lanes, n1 - k);
        const Complex* from = middle_.data() + k * n2;
        for (std::size_t j = 0; j < n2; ++j) {
            for_lanes(count, [&](std::size_t l) {
                tile[j].re[l] = from[l * n2 + j].real();
                tile[j].im[l] = from[l * n2 + j].imag();
            });
        }
        const Block* result = rows_.run(tile, spare_.data());
        for (std::size_t m = 0; m < n2; ++m) {
            Complex* to = out.data() + m * n1 + k;
            const double* re = inverse ? result[m].im : result[m].re;
            const double* im = inverse ? result[m].re : result[m].im;
            for_lanes(count, [&](std::size_t l) { to[l] = {re[l], im[l]}; });
        }
    }
    middle_ = {};
}

}  // namespace assay::analysis
