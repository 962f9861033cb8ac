// Polarity from a response whose delay is not known, against textbook transfer functions (first and second
// order, all-pass, delay) that were turned or not.
#include "analysis/amplifier/polarity.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace assay::analysis {
namespace {

using Complex = std::complex<double>;
constexpr Complex j{0.0, 1.0};

Complex high_pass(double hz, double corner_hz) {
    return j * hz / corner_hz / (1.0 + j * hz / corner_hz);
}

Complex low_pass(double hz, double corner_hz, double q) {
    const Complex s = j * hz / corner_hz;
    return 1.0 / (1.0 + s / q + s * s);
}

Complex late(double hz, double seconds) {
    return std::polar(1.0, -2.0 * std::numbers::pi * hz * seconds);
}

Complex full_band(double hz) {
    return high_pass(hz, 18.0) * low_pass(hz, 42000.0, 0.7);
}

TEST(Polarity, OfAFullBandIsToldWhateverItsDelay) {
    for (const double sign : {1.0, -1.0}) {
        for (const double delay_s : {0.0, 11e-6, 0.5e-3, 2.617e-3, 25.03e-3, -0.7e-3}) {
            const auto found = read_polarity(
                [&](double hz) { return sign * full_band(hz) * late(hz, delay_s); }, 10.0, 40000.0);
            EXPECT_TRUE(found.told) << delay_s << ": " << found.offset_deg;
            EXPECT_EQ(found.inverted, sign < 0.0) << delay_s << ": " << found.offset_deg;
            EXPECT_NEAR(found.delay_s, delay_s, 8e-6);  // the low-pass has one of its own, 5 us
        }
    }
}

TEST(Polarity, OfOtherBandsIsThatOfWhatTheyPass) {
    const auto subwoofer = [](double hz) { return -high_pass(hz, 15.0) * low_pass(hz, 90.0, 0.7); };
    const auto tweeter = [](double hz) { return std::pow(high_pass(hz, 2500.0), 2) * late(hz, 1e-3); };
    const auto shelf = [](double hz) { return full_band(hz) * (1.0 + 3.0 / (1.0 + j * hz / 150.0)); };
    EXPECT_TRUE(read_polarity(subwoofer, 10.0, 20000.0).told);
    EXPECT_TRUE(read_polarity(subwoofer, 10.0, 20000.0).inverted);
    EXPECT_TRUE(read_polarity(shelf, 10.0, 20000.0).told);
    EXPECT_FALSE(read_polarity(shelf, 10.0, 20000.0).inverted);
    const auto high = read_polarity(tweeter, 10.0, 20000.0);
    EXPECT_TRUE(!high.told || !high.inverted);
}

// A first-order all-pass is upright at one end of the band and turned at the other: neither is right.
TEST(Polarity, OfAPhaseThatTurnsInTheBandIsNotTold) {
    const auto rotated = [](double hz) {
        return full_band(hz) * (1.0 - j * hz / 700.0) / (1.0 + j * hz / 700.0);
    };
    EXPECT_FALSE(read_polarity(rotated, 10.0, 40000.0).told);
    const auto quarter = [](double hz) { return full_band(hz) * j; };
    EXPECT_FALSE(read_polarity(quarter, 10.0, 40000.0).told);
}

}  // namespace
}  // namespace assay::analysis
