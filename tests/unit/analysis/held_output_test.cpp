// Mean of squared volts over a run, against closed integrals.
#include "analysis/amplifier/held_output.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace assay::analysis {
namespace {

constexpr double row_minutes = 2.0 / 60.0;

template <typename Square>
std::vector<HeldRow> rows_of(Square square, int count) {
    std::vector<HeldRow> rows;
    for (int r = 0; r < count; ++r) {
        HeldRow row;
        row.minutes = (r + 0.5) * row_minutes;
        row.total_v = std::sqrt(square(row.minutes));
        rows.push_back(row);
    }
    return rows;
}

// A square that falls on a straight line: its mean lies half way, wherever between two rows the run ends.
TEST(HeldSquare, AStraightFallEndsWhereTheRunEnds) {
    const auto square = [](double minutes) { return 100.0 - 60.0 * minutes; };
    const auto rows = rows_of(square, 20);
    for (const double end : {0.30, 0.315, 0.33}) {
        const HeldSquare found = held_square(rows, end);
        EXPECT_NEAR(found.mean, 100.0 - 30.0 * end, 1e-9) << end;
        EXPECT_NEAR(found.at_end, square(end), 1e-9) << end;
    }
}

// exp(-t / T): the mean is T / t (1 - exp(-t / T)). What is added beyond the rows is told in the doubt.
TEST(HeldSquare, AnExponentialFallLiesWithinItsDoubt) {
    constexpr double slow_minutes = 0.4;
    const auto rows = rows_of([](double minutes) { return 50.0 * std::exp(-minutes / slow_minutes); }, 20);
    const double end = 0.29;
    const double truth = 50.0 * slow_minutes / end * -std::expm1(-end / slow_minutes);
    const HeldSquare found = held_square(rows, end);
    EXPECT_GT(found.doubt, 0.0);
    EXPECT_LT(found.doubt, 2e-3 * found.mean);
    EXPECT_NEAR(found.mean, truth, 2.0 * found.doubt);
}

// A row that is alone tells nothing of a slope; rows left out before the end do not carry one far.
TEST(HeldSquare, NoSlopeWhereThereIsNone) {
    EXPECT_EQ(held_square(rows_of([](double) { return 9.0; }, 1), 0.5).mean, 9.0);
    const auto rows = rows_of([](double minutes) { return 100.0 - 60.0 * minutes; }, 10);
    const double last = 100.0 - 60.0 * rows.back().minutes;
    EXPECT_NEAR(held_square(rows, 5.0).at_end, last - 60.0 * row_minutes, 1e-9);
}

}  // namespace
}  // namespace assay::analysis
