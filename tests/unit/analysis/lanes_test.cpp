// Sums in lanes of integers, which doubles hold exactly: the order cannot matter, a sample left out does.
#include "analysis/signal/lanes.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>
#include <vector>

using namespace assay::analysis;

// reference: sums of n, n^2, n^3 by Faulhaber's formulas (n(n+1)/2, n(n+1)(2n+1)/6, its square).
TEST(Lanes, TakeEverySampleOnce) {
    for (std::size_t count = 0; count <= 67; ++count) {
        std::vector<double> x(count);
        std::iota(x.begin(), x.end(), 1.0);
        std::vector<double> square(count);
        std::transform(x.begin(), x.end(), square.begin(), [](double value) { return value * value; });
        const auto n = static_cast<double>(count);
        const double first = n * (n + 1.0) / 2.0;
        const double second = n * (n + 1.0) * (2.0 * n + 1.0) / 6.0;
        EXPECT_EQ(lane_sum(x), first);
        EXPECT_EQ(lane_dot(x, x), second);
        EXPECT_EQ(lane_dot(x, x, square), std::complex<double>(second, first * first));
        EXPECT_EQ(lane_peak(x), n);
    }
}

TEST(Lanes, PeakIsTheLargestOfEitherSign) {
    for (std::size_t place = 0; place < 19; ++place) {
        std::vector<double> x(19, 0.5);
        x[place] = -3.0;
        EXPECT_EQ(lane_peak(x), 3.0);
    }
}
