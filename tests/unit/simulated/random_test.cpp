// Checks against values published elsewhere: the generators' reference sequences and SciPy's normal quantile.
#include "capture/simulated/random.h"

#include <gtest/gtest.h>

#include <cmath>

#include "capture/splitmix64.h"

namespace assay::capture {
namespace {

TEST(Random, SplitmixGivesThePublishedSequence) {
    // First outputs for seed 1234567, as widely published for splitmix64.
    std::uint64_t state = 1234567;
    EXPECT_EQ(splitmix64(state), 6457827717110365317U);
    EXPECT_EQ(splitmix64(state), 3203168211198807973U);
    EXPECT_EQ(splitmix64(state), 9817491932198370423U);
}

TEST(Random, XoshiroGivesThePublishedSequence) {
    // First outputs of xoshiro256++ from the state 1, 2, 3, 4, as in the authors' C code.
    RandomSource random(0);
    random.state = {1, 2, 3, 4};
    EXPECT_EQ(random.next(), 41943041U);
    EXPECT_EQ(random.next(), 58720359U);
    EXPECT_EQ(random.next(), 3588806011781223U);
    EXPECT_EQ(random.next(), 3591011842654386U);
}

TEST(Random, NormalQuantileAgreesWithScipy) {
    // scipy.stats.norm.ppf (SciPy 1.10), one value for each branch of the algorithm.
    EXPECT_NEAR(normal_quantile(0.6), 0.2533471031357997, 1e-15);
    EXPECT_NEAR(normal_quantile(0.975), 1.959963984540054, 4e-15);
    EXPECT_NEAR(normal_quantile(0.001), -3.090232306167813, 6e-15);
    EXPECT_NEAR(normal_quantile(1e-15), -7.941345326170998, 2e-14);
}

TEST(Random, NormalNumbersHaveTheMomentsOfTheNormalDistribution) {
    RandomSource random(5);
    constexpr int count = 1'000'000;
    double sum = 0.0;
    double square = 0.0;
    double fourth = 0.0;
    for (int i = 0; i < count; ++i) {
        const double x = random.normal();
        sum += x;
        square += x * x;
        fourth += x * x * x * x;
    }
    // Four standard deviations of each mean: 1, sqrt(2) and sqrt(96) over the root of the count.
    EXPECT_NEAR(sum / count, 0.0, 4.0 / std::sqrt(count));
    EXPECT_NEAR(square / count, 1.0, 4.0 * std::sqrt(2.0 / count));
    EXPECT_NEAR(fourth / count, 3.0, 4.0 * std::sqrt(96.0 / count));
}

TEST(Random, StreamsOfOneSeedDiffer) {
    EXPECT_NE(stream_seed(1, "power", 0), stream_seed(1, "power", 1));
    EXPECT_NE(stream_seed(1, "power", 0), stream_seed(1, "noise", 0));
    EXPECT_NE(stream_seed(1, "power", 0), stream_seed(2, "power", 0));
    EXPECT_EQ(stream_seed(1, "power", 0), stream_seed(1, "power", 0));
}

}  // namespace
}  // namespace assay::capture
