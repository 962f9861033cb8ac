// A sine in quarter seconds: its edges inside a block by the share of the mean square, its level at the end
// of a run, against the fall that was put in.
#include "analysis/amplifier/held_edges.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <random>
#include <vector>

#include "analysis/amplifier/held_output.h"

namespace assay::analysis {
namespace {

constexpr double block_s = 0.25;
constexpr double held_noise_v = 1e-3;

/// RMS of blocks of a sine of 1 V RMS that sounds from one time to another.
std::vector<double> rms_of(double from_s, double to_s, int count) {
    std::vector<double> rms;
    for (int b = 0; b < count; ++b) {
        const double begin = b * block_s;
        const double sounds =
            std::clamp(std::min(to_s, begin + block_s) - std::max(from_s, begin), 0.0, block_s);
        rms.push_back(std::sqrt(sounds / block_s + held_noise_v * held_noise_v));
    }
    return rms;
}

TEST(HeldEdges, AStartIsToldInsideItsBlock) {
    for (const double start_s : {1.0, 1.01, 1.1, 1.2, 1.24}) {
        const auto rms = rms_of(start_s, 100.0, 40);
        const std::size_t steady = rms[4] >= 0.9 ? 4 : 5;
        EXPECT_NEAR((static_cast<double>(steady) - begun_before(rms, steady)) * block_s, start_s, 1e-6);
    }
    EXPECT_EQ(begun_before(rms_of(-1.0, 100.0, 40), 0), 0.0);  // what came before the recording is not known
}

TEST(HeldEdges, AnEndIsToldInsideItsBlock) {
    for (const double end_s : {3.0, 3.02, 3.05, 3.1, 3.2}) {
        const auto rms = rms_of(-1.0, end_s, 40);
        const std::size_t quiet = rms[12] < 0.25 ? 12 : 13;
        const HeldEdge edge = ended_within(rms, quiet);
        EXPECT_TRUE(edge.sharp) << end_s;
        EXPECT_NEAR(edge.blocks * block_s, end_s, 1e-6);
    }
    auto slow = rms_of(-1.0, 3.0, 40);
    slow[11] = 0.6;
    slow[12] = 0.24;
    EXPECT_FALSE(ended_within(slow, 12).sharp);
}

struct HeldRun {
    std::vector<HeldRow> rows{};
    std::vector<double> smooth{};
    HeldBlocks blocks{};
};

/// A minute of rows and blocks of a level that falls by a law, in dB, with noise on both.
template <typename Fall>
HeldRun run_of(Fall fall, double noise_db, unsigned seed) {
    std::mt19937 generator(seed);
    std::normal_distribution<double> noise(0.0, noise_db);
    HeldRun run;
    for (int b = 0; b < 240; ++b) {
        const double at_s = (b + 0.5) * block_s;
        run.smooth.push_back(std::pow(10.0, (noise(generator) - fall(at_s)) / 20.0));
    }
    run.blocks = {
        .levels = run.smooth, .smooth = run.smooth, .rms_v = run.smooth, .even = true, .edge_s = 1e-3};
    for (int r = 0; r < 30; ++r) {
        const double at_s = 2.0 * r + 1.0;
        run.rows.push_back(
            {.minutes = at_s / 60.0,
             .total_v = std::pow(10.0, *level_db_about(run.blocks, at_s / 60.0) / 20.0),
             .doubt_v = noise_db / 8.686 / std::sqrt(3.0)});  // a block has sqrt 3 times as much
    }
    return run;
}

// What cools or sags: fast at first. The end lies a second beyond the middle of the last row.
TEST(HeldEdges, AFallIsToldAtTheEndWithinItsDoubt) {
    const auto fall = [](double at_s) { return 0.9 * -std::expm1(-at_s / 20.0); };
    int held = 0;
    double square = 0.0;
    double stated = 0.0;
    constexpr int trials = 200;
    for (unsigned k = 0; k < trials; ++k) {
        const double end_s = 25.0 + 0.15 * k;
        const HeldRun run = run_of(fall, 3e-4, k);
        const HeldFall found = held_fall(run.rows, run.blocks, end_s / 60.0);
        const double error = found.fall_db - (fall(end_s) - fall(3.0));
        if (std::abs(error) <= 2.0 * found.doubt_db) ++held;
        square += error * error / trials;
        stated += found.doubt_db / trials;
    }
    std::printf("held %d of %d, width re ideal %.2f\n", held, trials, stated / std::sqrt(square));
    EXPECT_GE(held, 182);  // 95.45 % is 191, with 3 standard deviations of chance
    EXPECT_LT(stated / std::sqrt(square), 1.3);
}

// Half of the output gone at once, somewhere between two rows: the straight line between them is doubted by
// all of the time between them. An even fall is not.
TEST(HeldEdges, AFallAtOnceIsDoubtedByTheWholeRow) {
    const HeldRun even = run_of([](double at_s) { return 0.05 * at_s; }, 1e-5, 1);
    EXPECT_LT(unevenness(even.blocks, 21.0 / 60.0, 23.0 / 60.0), 0.01);
    const HeldRun sudden = run_of([](double at_s) { return at_s < 21.5 ? 0.0 : 3.0; }, 1e-5, 2);
    EXPECT_GT(unevenness(sudden.blocks, 21.0 / 60.0, 23.0 / 60.0), 0.5);
    const auto found = held_outcome(sudden.rows, sudden.blocks, {.minutes = 1.0});
    ASSERT_TRUE(found);
    EXPECT_EQ(found->ended_by, HeldEnd::fall);
    EXPECT_NEAR(60.0 * found->run_minutes, 21.5, 60.0 * found->resolution_minutes);
}

}  // namespace
}  // namespace assay::analysis
