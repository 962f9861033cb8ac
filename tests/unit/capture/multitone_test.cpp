#include "capture/tone/multitone.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <iostream>

#include "analysis/units.h"
#include "capture/bench.h"
#include "capture/guard.h"
#include "capture/tone/impedance_tone.h"

namespace assay::capture {
namespace {

/// The definition of a multitone, without any of its short cuts.
double plain_sum(const std::vector<ToneLine>& lines, double seconds) {
    double sum = 0.0;
    for (const ToneLine& line : lines)
        sum += line.amplitude * std::sin(analysis::two_pi * line.frequency_hz * seconds + line.phase_rad);
    return sum;
}

TEST(Multitone, LinesAreWhereTheHeaderSays) {
    const std::vector<ToneLine> lines = lines_of({});
    ASSERT_FALSE(lines.empty());
    EXPECT_GE(lines.front().frequency_hz, 10.0);
    EXPECT_LT(lines.front().frequency_hz, 10.5);
    EXPECT_LE(lines.back().frequency_hz, 20000.0);
    EXPECT_GT(lines.back().frequency_hz, 20000.0 * std::exp2(-1.5 / 96.0));
    for (std::size_t k = 0; k < lines.size(); ++k) {
        const double order = lines[k].frequency_hz * 5.0;
        EXPECT_NEAR(std::abs(std::remainder(order, 2.0)), 1.0, 1e-9) << lines[k].frequency_hz;
        for (const double mains_hz : {50.0, 60.0})
            EXPECT_GE(std::abs(std::remainder(lines[k].frequency_hz, mains_hz)), 0.3 - 1e-9);
        if (k > 0) {
            const double distance_hz = lines[k].frequency_hz - lines[k - 1].frequency_hz;
            EXPECT_GE(distance_hz, 0.4 - 1e-9);
            EXPECT_GE(lines[k].frequency_hz / lines[k - 1].frequency_hz, std::exp2(1.0 / 96.0) - 1e-9);
        }
    }
    std::cout << lines.size() << " lines\n";
}

TEST(Multitone, LowCrestAndAPeakOfOne) {
    for (const Multitone& multitone :
         {Multitone{}, Multitone{.start_hz = 5.0, .stop_hz = 2000.0},
          Multitone{.period_s = 1.0, .stop_hz = 19000.0}, Multitone{.stop_hz = 43200.0}}) {
        const std::vector<ToneLine> lines = lines_of(multitone);
        double mean_square = 0.0;  // Parseval
        for (const ToneLine& line : lines) mean_square += 0.5 * line.amplitude * line.amplitude;
        EXPECT_NEAR(mean_square_of(multitone), mean_square, 1e-12);
        const double crest = 1.0 / std::sqrt(mean_square);
        std::cout << lines.size() << " lines to " << multitone.stop_hz << " Hz: crest factor " << crest
                  << '\n';
        EXPECT_LT(crest, 3.5);

        // Its highest value, searched on a grid of its own and by bisection of the steps around the highest.
        const double rate_hz = 4.1 * multitone.stop_hz;
        const auto frames = static_cast<std::size_t>(0.5 * multitone.period_s * rate_hz);
        const MultitoneValues values(multitone, 2.0 * static_cast<double>(frames) / multitone.period_s);
        std::vector<std::pair<double, std::size_t>> highest;
        for (std::size_t n = 0; n < frames; ++n)
            highest.emplace_back(std::abs(values.at(static_cast<double>(n))), n);
        std::partial_sort(highest.begin(), highest.begin() + 60, highest.end(), std::greater<>());
        double peak = 0.0;
        for (std::size_t k = 0; k < 60; ++k) {
            const auto n = static_cast<double>(highest[k].second);
            for (double part = -1.0; part <= 1.0; part += 0.05) {
                const double seconds = (n + part) * 0.5 * multitone.period_s / static_cast<double>(frames);
                peak = std::max(peak, std::abs(plain_sum(lines, seconds)));
            }
        }
        std::cout << "  highest value " << peak << '\n';
        EXPECT_LE(peak, 1.0 + 1e-3);
        EXPECT_GE(peak, 1.0 - 1e-2);
    }
}

TEST(Multitone, TheTableGivesTheSumOfTheLines) {
    const Multitone multitone;
    const std::vector<ToneLine> lines = lines_of(multitone);
    for (const double rate_hz : {44100.0, 96000.0, 12345.6}) {  // the last has no table
        const MultitoneValues values(multitone, rate_hz);
        double worst = 0.0;
        for (const double frame :
             {0.0, 1.0, 4095.0, 4096.0, 110249.0, 110250.0, 239999.0, 240000.0, 700001.0, 0.25, 77777.7})
            worst = std::max(worst, std::abs(values.at(frame) - plain_sum(lines, frame / rate_hz)));
        std::cout << rate_hz << " Hz: off by at most " << worst << '\n';
        EXPECT_LT(worst, 1e-9);  // the sine of 2 pi f t loses about f t digits: 146000 turns of 2e-16
    }
}

TEST(ImpedanceTone, TwoStepsAtHalfAndWholeLevelAmongMarks) {
    const Tone tone = make_impedance_tone({.level_dbfs = -12.0, .code = "free-air"});
    std::vector<Segment> steps;
    std::size_t marks_before_step = 0;
    for (const Segment& segment : tone.segments) {
        if (segment.role == SegmentRole::mark) ++marks_before_step;
        if (segment.role != SegmentRole::step) continue;
        EXPECT_GE(marks_before_step, 1U);
        marks_before_step = 0;
        steps.push_back(segment);
    }
    EXPECT_GE(marks_before_step, 1U);  // after the last
    ASSERT_EQ(steps.size(), 2U);
    EXPECT_NEAR(steps[0].level_dbfs, -12.0 + 20.0 * std::log10(0.5), 1e-12);
    EXPECT_EQ(steps[1].level_dbfs, -12.0);
    EXPECT_LT(steps[0].frames, steps[1].frames);
    for (std::size_t k = 0; k < 2; ++k) {
        const double length_s = static_cast<double>(steps[k].frames) / tone.rate_hz;
        EXPECT_GE(length_s - impedance_settling_s, (k == 0 ? 2 : 4) * impedance_period_s);
    }
    std::cout << tone.duration_s() << " s\n";
}

TEST(ImpedanceTone, GuardHoldsItsPeakToTheLimit) {
    Bench bench;
    bench.outputs = {{.name = "drive", .channel = 1, .volts_at_full_scale = 2.0, .maximum_volts = 0.5}};
    const double limit_dbfs = 20.0 * std::log10(0.25);
    const std::array<std::size_t, 1> outputs{0};
    EXPECT_TRUE(check_tone(bench, outputs, make_impedance_tone({.level_dbfs = limit_dbfs})));
    const auto loud = check_tone(bench, outputs, make_impedance_tone({.level_dbfs = limit_dbfs + 0.01}));
    ASSERT_FALSE(loud);
    std::cout << loud.error().text << '\n';
}

TEST(ImpedanceTone, EnergyIsTheSumOfItsSquares) {
    const Tone tone = make_impedance_tone({.rate_hz = 48000.0, .level_dbfs = -20.0});
    std::vector<float> block(static_cast<std::size_t>(tone.frames));
    render(tone, 0, block);
    double sum = 0.0;
    for (const float value : block) sum += 2.0 * value * value / tone.rate_hz;
    EXPECT_NEAR(tone.energy_s() / sum, 1.0, 0.01);  // the broken period at the end of each step
    EXPECT_LE(std::abs(*std::ranges::max_element(block, {}, [](float value) { return std::abs(value); })),
              0.1F * 1.001F);
}

}  // namespace
}  // namespace assay::capture
