// When a held level counts as fallen: made signals whose fall is known.
#include "capture/device/fall_watch.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace assay::capture {
namespace {

constexpr double watch_rate_hz = 8000.0;

/// Seconds after which two channels of sines with these levels (each a second, re the first) end the capture.
double ends_after_s(const FallEnd& end, const std::vector<double>& left_db,
                    const std::vector<double>& right_db) {
    FallWatch watch(end, 2, watch_rate_hz);
    for (std::size_t second = 0; second < left_db.size(); ++second) {
        for (int part = 0; part < 10; ++part) {
            std::vector<float> block;
            for (int n = 0; n < 800; ++n) {
                const double sine = 0.1 * std::sin(2.0 * std::numbers::pi * 0.125 * n);
                block.push_back(static_cast<float>(sine * std::pow(10.0, left_db[second] / 20.0)));
                block.push_back(static_cast<float>(sine * std::pow(10.0, right_db[second] / 20.0)));
            }
            watch.look_at(block);
            if (watch.fallen()) return static_cast<double>(second) + 0.1 * (part + 1);
        }
    }
    return -1.0;
}

std::vector<double> steps(std::size_t before, double fall_db, std::size_t after) {
    std::vector<double> levels(before, 0.0);
    levels.insert(levels.end(), after, fall_db);
    return levels;
}

TEST(FallWatch, EndsWhereTheLevelStaysDown) {
    EXPECT_NEAR(ends_after_s({{1}, 1.0, 1.0, 5.0}, steps(10, -1.5, 20), steps(10, 0.0, 20)), 15.0, 1e-9);
}

TEST(FallWatch, GoesOnThroughSmallFallsGapsAndOtherChannels) {
    EXPECT_LT(ends_after_s({{1}, 1.0, 1.0, 5.0}, steps(10, -0.9, 20), steps(10, -60.0, 20)), 0.0);
    std::vector<double> gaps = steps(10, 0.0, 20);
    gaps[12] = gaps[13] = gaps[20] = -90.0;
    EXPECT_LT(ends_after_s({{1}, 1.0, 1.0, 5.0}, gaps, gaps), 0.0);
}

TEST(FallWatch, AllLoadsHaveToFall) {
    EXPECT_LT(ends_after_s({{1, 2}, 1.0, 1.0, 5.0}, steps(10, -3.0, 20), steps(10, 0.0, 20)), 0.0);
    EXPECT_NEAR(ends_after_s({{1, 2}, 1.0, 1.0, 5.0}, steps(10, -3.0, 20), steps(14, -3.0, 16)), 19.0, 1e-9);
}

// The noise before a tone, and inputs that hear nothing at all, set no reference.
TEST(FallWatch, WaitsForSound) {
    std::vector<double> late(6, -100.0);
    late.insert(late.end(), 10, 0.0);
    late.insert(late.end(), 10, -2.0);
    EXPECT_NEAR(ends_after_s({{1}, 1.0, 1.0, 5.0}, late, late), 21.0, 1e-9);
    EXPECT_LT(
        ends_after_s({{1}, 1.0, 1.0, 5.0}, std::vector<double>(30, -120.0), std::vector<double>(30, -120.0)),
        0.0);
    EXPECT_FALSE(FallWatch({}, 2, watch_rate_hz).fallen());
}

}  // namespace
}  // namespace assay::capture
