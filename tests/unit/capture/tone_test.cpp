#include "capture/tone/tone.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace assay::capture {
namespace {

// A sine, a pause, a chirp right up to the next sine: all that render has to join.
Tone mixed_tone() {
    Tone tone{.rate_hz = 48000.0, .frames = 60000};
    tone.segments = {{.first_frame = 1000,
                      .frames = 20000,
                      .law = SteadySine{.frequency_hz = 997.0, .phase_rad = 0.3},
                      .level_dbfs = -6.0,
                      .fade_frames = 240},
                     {.first_frame = 30000,
                      .frames = 1500,
                      .law = Chirp{.from_hz = 500.0, .to_hz = 1500.0},
                      .level_dbfs = -20.0,
                      .fade_frames = 96,
                      .role = SegmentRole::mark},
                     {.first_frame = 31500,
                      .frames = 20000,
                      .law = SteadySine{.frequency_hz = 60.0},
                      .level_dbfs = -40.0,
                      .fade_frames = 480}};
    return tone;
}

double sum_of_values(const Tone& tone, std::int64_t frame) {
    double sum = 0.0;
    for (const Segment& segment : tone.segments) {
        sum += value_at(segment, tone.rate_hz, static_cast<double>(frame - segment.first_frame));
    }
    return sum;
}

TEST(Tone, BlocksOfAnyLengthGiveTheValuesOfTheLaw) {
    const Tone tone = mixed_tone();
    for (const std::size_t length : {1UL, 7UL, 1024UL, 4801UL, 100000UL}) {
        std::vector<float> block(length);
        for (std::int64_t first = -500; first < tone.frames + 500;
             first += static_cast<std::int64_t>(length)) {
            block.assign(length, 9.0F);
            render(tone, first, block);
            for (std::size_t i = 0; i < length; ++i) {
                const std::int64_t frame = first + static_cast<std::int64_t>(i);
                ASSERT_EQ(block[i], static_cast<float>(sum_of_values(tone, frame))) << "frame " << frame;
            }
        }
    }
}

TEST(Tone, SilentWhereNoSegmentLies) {
    const Tone tone = mixed_tone();
    std::vector<float> block(static_cast<std::size_t>(tone.frames));
    render(tone, 0, block);
    for (std::size_t n = 0; n < block.size(); ++n) {
        if (n < 1000 || (n >= 21000 && n < 30000) || n >= 51500) {
            ASSERT_EQ(block[n], 0.0F) << n;
        }
    }
}

TEST(Tone, ASineHasItsLevelFrequencyAndPhase) {
    const Segment segment{
        .frames = 48000, .law = SteadySine{.frequency_hz = 997.0, .phase_rad = 0.3}, .level_dbfs = -6.0};
    for (int n = 0; n < 48000; n += 13) {
        EXPECT_NEAR(value_at(segment, 48000.0, n),
                    0.5011872336272722 * std::sin(2.0 * std::numbers::pi * 997.0 * n / 48000.0 + 0.3), 1e-12);
    }
}

// The chirp's phase is the integral of its frequency: between two zero crossings upwards lies one cycle,
// and the frequency in the middle of that cycle is the mean over it.
TEST(Tone, AChirpSweepsStraightFromOneFrequencyToTheOther) {
    const double rate_hz = 96000.0;
    const Segment chirp{.frames = 9600, .law = Chirp{.from_hz = 500.0, .to_hz = 1500.0}, .level_dbfs = 0.0};
    std::vector<double> crossings_s;
    for (int n = 1; n < 9600; ++n) {
        const double before = value_at(chirp, rate_hz, n - 1);
        const double after = value_at(chirp, rate_hz, n);
        if (before < 0.0 && after >= 0.0) crossings_s.push_back((n - after / (after - before)) / rate_hz);
    }
    ASSERT_GT(crossings_s.size(), 90U);  // 100 cycles of 1000 Hz on average in 0.1 s
    for (std::size_t i = 1; i < crossings_s.size(); ++i) {
        const double middle_s = 0.5 * (crossings_s[i] + crossings_s[i - 1]);
        const double frequency_hz = 1.0 / (crossings_s[i] - crossings_s[i - 1]);
        // Straight lines between samples misplace a crossing by less than a thousandth of a sample.
        EXPECT_NEAR(frequency_hz, 500.0 + 10000.0 * middle_s, 0.05);
    }
}

TEST(Tone, FadesAreRaisedCosinesAtBothEnds) {
    // A quarter turn of phase at 0 Hz is a constant 1, so that what is left is the fade itself.
    const Segment segment{.frames = 1000,
                          .law = SteadySine{.frequency_hz = 0.0, .phase_rad = std::numbers::pi / 2},
                          .level_dbfs = 0.0,
                          .fade_frames = 100};
    EXPECT_EQ(value_at(segment, 48000.0, 0), 0.0);
    EXPECT_NEAR(value_at(segment, 48000.0, 25), 0.14644660940672624, 1e-15);  // (1 - cos 45°) / 2
    EXPECT_NEAR(value_at(segment, 48000.0, 50), 0.5, 1e-15);
    EXPECT_NEAR(value_at(segment, 48000.0, 100), 1.0, 1e-15);
    EXPECT_NEAR(value_at(segment, 48000.0, 500), 1.0, 1e-15);
    EXPECT_NEAR(value_at(segment, 48000.0, 950), 0.5, 1e-15);
    EXPECT_NEAR(value_at(segment, 48000.0, 975), 0.14644660940672624, 1e-15);
    EXPECT_EQ(value_at(segment, 48000.0, 1000), 0.0);
    EXPECT_EQ(value_at(segment, 48000.0, -1), 0.0);
}

// Against the plain sum of squares; a full-scale sine has half a square on average.
TEST(Tone, EnergyIsTheSumOfSquares) {
    const Tone tone = mixed_tone();
    double squares = 0.0;
    for (std::int64_t n = 0; n < tone.frames; ++n) squares += std::pow(sum_of_values(tone, n), 2);
    const double summed_s = squares / 0.5 / tone.rate_hz;
    // The closed form takes the mean square of each part as one half. What broken cycles add, at most an
    // eighth of a period each side of a segment, is below 1e-3 of these.
    EXPECT_NEAR(tone.energy_s(), summed_s, 1e-3 * summed_s);

    Tone whole_cycles{.rate_hz = 48000.0, .frames = 48000};
    whole_cycles.segments = {{.frames = 48000,
                              .law = SteadySine{.frequency_hz = 1000.0},
                              .level_dbfs = -3.0,
                              .fade_frames = 4800}};
    squares = 0.0;
    for (std::int64_t n = 0; n < 48000; ++n) squares += std::pow(sum_of_values(whole_cycles, n), 2);
    EXPECT_NEAR(whole_cycles.energy_s(), squares / 0.5 / 48000.0, 1e-6);
    EXPECT_NEAR(whole_cycles.energy_s(), 0.875 * std::pow(10.0, -0.3), 1e-12);
}

TEST(Tone, PeakIsTheLoudestSegment) {
    EXPECT_EQ(mixed_tone().peak_dbfs(), -6.0);
    EXPECT_EQ(mixed_tone().duration_s(), 1.25);
}

// Bursts of 20 ms in 500 ms, 20 dB lower between: (20 + 0.01 * 480) / 500 of a steady tone's
// power; a pair of shares a and b has a^2 + b^2 of that of the sine with the same peak.
TEST(Tone, PowerOfPairsAndBursts) {
    EXPECT_NEAR(relative_mean_square(ToneBurst{}), 0.0496, 1e-12);
    EXPECT_NEAR(relative_mean_square(SinePair{}), 0.68, 1e-12);
    EXPECT_NEAR(relative_mean_square(LogSweep{}), 1.0, 1e-12);
}

}  // namespace
}  // namespace assay::capture
