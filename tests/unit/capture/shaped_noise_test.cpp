// Music-like noise: what its header promises. Its spectrum is checked against SciPy by endurance_test.py.
#include "capture/tone/shaped_noise.h"

#include <gtest/gtest.h>

#include <cmath>

namespace assay::capture {
namespace {

TEST(ShapedNoise, HasTheCrestFactorAskedForAndAPeakOfOne) {
    const double rate_hz = 16384.0;
    for (const double crest_db : {6.0, 9.0, 12.0, 15.0, 18.0, 20.0}) {
        const ShapedNoiseValues values({8.0, crest_db}, rate_hz);
        const int frames = 8 * 16384;
        double sum = 0.0;
        double peak = 0.0;
        for (int n = 0; n < frames; ++n) {
            const double value = values.at(n);
            sum += value * value;
            peak = std::max(peak, std::abs(value));
        }
        EXPECT_DOUBLE_EQ(peak, 1.0) << crest_db;
        EXPECT_NEAR(10.0 * std::log10(frames / sum), crest_db, 0.001) << crest_db;
        EXPECT_EQ(values.at(3.0), values.at(3.0 + frames));
    }
}

TEST(ShapedNoise, PeriodIsAPowerOfTwoOfFrames) {
    EXPECT_DOUBLE_EQ(noise_period_s(48000.0) * 48000.0, 524288.0);
    EXPECT_DOUBLE_EQ(noise_period_s(96000.0), noise_period_s(48000.0));
}

}  // namespace
}  // namespace assay::capture
