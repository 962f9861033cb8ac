// Where the two unlike steps of an impedance tone lie in a recording: clock, lost and doubled blocks. Truth
// is the cut that the test itself makes.
#include <gtest/gtest.h>

#include <cmath>
#include <iostream>
#include <random>

#include "analysis/signal/alignment.h"
#include "capture/simulated/bench_run.h"
#include "capture/tone/impedance_tone.h"
#include "cli/measures/recording/tone_plan.h"

namespace assay::analysis {
namespace {

constexpr double jig_rate_hz = 44100.0;
constexpr double tone_delay_s = 0.25;

capture::Tone tone() {
    return capture::make_impedance_tone(
        {.rate_hz = jig_rate_hz, .stop_hz = 15000.0, .level_dbfs = -12.0, .code = "free-air"});
}

/// What the generator-side input records.
const std::vector<float>& recorded() {
    static const std::vector<float> samples = [] {
        capture::Bench bench;
        bench.outputs = {capture::Output{.name = "drive", .volts_at_full_scale = 2.0}};
        bench.inputs = {capture::Input{.name = "jig-1", .channel = 1, .volts_at_full_scale = 2.0},
                        capture::Input{.name = "jig-2", .channel = 2, .volts_at_full_scale = 2.0}};
        bench.jig.emplace();
        bench.jig->series_ohm = 22.0;
        bench.jig->generator_side = 0;
        bench.jig->driver_side = 1;
        bench.simulated.card.delay_s = tone_delay_s;
        bench.simulated.card.clock_ppm = 120.0;
        bench.simulated.card.noise_dbfs = -90.0;
        const capture::Tone played = tone();
        std::vector<float> first;
        const auto sink = [&](std::span<const float> frames) -> capture::Result<void> {
            for (std::size_t i = 0; i < frames.size(); i += 2) first.push_back(frames[i]);
            return {};
        };
        const std::atomic<bool> stop{false};
        const capture::SimulatedTake take{"take", &played, {0}, {}, capture::PlayRequest::InJig{}};
        EXPECT_TRUE(capture::simulate_take(bench, take, sink, {}, stop));
        return first;
    }();
    return samples;
}

struct Steps {
    double low_s = 0.0;  // where the two steps start in the tone
    double full_s = 0.0;
};

Steps steps_of(const TonePlan& plan) {
    return {plan.step_starts_s.at(0), plan.step_starts_s.at(1)};
}

TEST(ImpedancePlacement, ClockAndStepsAreFound) {
    const capture::Tone played = tone();
    const TonePlan plan = cli::plan_of(played);
    ASSERT_EQ(plan.step_starts_s.size(), 2U);
    EXPECT_NEAR(plan.step_s, 13.1, 1e-3);  // the shorter one
    const auto placed = align(recorded(), jig_rate_hz, plan);
    ASSERT_TRUE(placed) << placed.error().text;
    std::cout << "clock off by " << (placed->clock_ratio - 1.0) * 1e6 - 120.0 << " ppm\n";
    EXPECT_NEAR(placed->clock_ratio, 1.0 + 120e-6, 0.5e-6);
    EXPECT_TRUE(placed->jumps.empty());
    EXPECT_FALSE(placed->lost_from.has_value());
    for (std::size_t k = 0; k < 2; ++k) {
        EXPECT_TRUE(placed->step_sound[k]);
        EXPECT_NEAR(placed->step_starts_s[k], (plan.step_starts_s[k] + tone_delay_s) * (1.0 + 120e-6), 2e-5);
    }
}

TEST(ImpedancePlacement, AShortRunAtTheEndDoesNotTellTheClock) {
    const capture::Tone played = tone();
    const TonePlan plan = cli::plan_of(played);
    std::vector<float> samples = recorded();
    std::mt19937 random(7);
    std::normal_distribution<float> noise(0.0F, 0.01F);
    for (float& sample : samples) sample += noise(random);
    // A block is lost just before the fourth mark from the end.
    const double lost_s = plan.mark_starts_s.at(plan.mark_starts_s.size() - 4) + tone_delay_s - 0.05;
    const auto at = samples.begin() + static_cast<std::ptrdiff_t>(lost_s * jig_rate_hz);
    samples.erase(at, at + 441);
    const auto placed = align(samples, jig_rate_hz, plan);
    ASSERT_TRUE(placed) << placed.error().text;
    ASSERT_EQ(placed->jumps.size(), 1U);
    std::cout << "clock off by " << (placed->clock_ratio - 1.0) * 1e6 - 120.0 << " ppm\n";
    EXPECT_NEAR(placed->clock_ratio, 1.0 + 120e-6, 1e-6);
}

/// The tone as rendered, on its own clock, with a block missing (or, for a negative number, played twice).
std::vector<float> cut(const capture::Tone& played, double tone_s, int frames) {
    const auto before = static_cast<std::ptrdiff_t>(tone_delay_s * jig_rate_hz);
    std::vector<float> samples(static_cast<std::size_t>(before + played.frames));
    capture::render(played, -before, samples);
    const auto at = samples.begin() + static_cast<std::ptrdiff_t>((tone_s + tone_delay_s) * jig_rate_hz);
    if (frames > 0) {
        samples.erase(at, at + frames);
    } else {
        const std::vector<float> block(at + frames, at);
        samples.insert(at, block.begin(), block.end());
    }
    return samples;
}

TEST(ImpedancePlacement, ABlockLostOrDoubledIsLaidToItsStep) {
    const capture::Tone played = tone();
    const TonePlan plan = cli::plan_of(played);
    const Steps steps = steps_of(plan);
    struct Case {
        double at_s;
        int frames;
        std::size_t step;
    };
    for (const Case& lost : {Case{steps.low_s + 5.0, 441, 0}, Case{steps.full_s + 12.0, 64, 1},
                             Case{steps.full_s + 20.0, -1024, 1}, Case{steps.full_s + 2.0, 8820, 1},
                             Case{steps.low_s + 9.0, 66150, 0}}) {
        SCOPED_TRACE(lost.frames);
        const auto placed = align(cut(played, lost.at_s, lost.frames), jig_rate_hz, plan);
        ASSERT_TRUE(placed) << placed.error().text;
        ASSERT_EQ(placed->jumps.size(), 1U);
        EXPECT_NEAR(placed->jumps[0].jump_s, -lost.frames / jig_rate_hz, 1e-4);
        EXPECT_EQ(placed->jumps[0].step, lost.step);
        EXPECT_EQ(placed->step_sound[lost.step], false);
        EXPECT_EQ(placed->step_sound[1 - lost.step], true);
    }
}

TEST(ImpedancePlacement, ABlockLostBetweenMarksHarmsNoStep) {
    const capture::Tone played = tone();
    const TonePlan plan = cli::plan_of(played);
    const Steps steps = steps_of(plan);
    const auto placed = align(cut(played, steps.full_s - 0.2, 441), jig_rate_hz, plan);
    ASSERT_TRUE(placed) << placed.error().text;
    ASSERT_EQ(placed->jumps.size(), 1U);
    EXPECT_EQ(placed->jumps[0].step, 2U);  // none
    EXPECT_TRUE(placed->step_sound[0]);
    EXPECT_TRUE(placed->step_sound[1]);
    EXPECT_NEAR(placed->step_starts_s[1], steps.full_s + tone_delay_s - 441.0 / jig_rate_hz, 1e-4);
}

TEST(ImpedancePlacement, ARecordingThatStopsEarlyLosesTheLastStep) {
    const capture::Tone played = tone();
    const TonePlan plan = cli::plan_of(played);
    std::vector<float> samples = cut(played, 1.0, 0);
    samples.resize(static_cast<std::size_t>((steps_of(plan).full_s + 9.0) * jig_rate_hz));
    const auto placed = align(samples, jig_rate_hz, plan);
    ASSERT_TRUE(placed) << placed.error().text;
    ASSERT_TRUE(placed->lost_from.has_value());
    EXPECT_EQ(*placed->lost_from, 1U);
    EXPECT_TRUE(placed->step_sound[0]);
}

}  // namespace
}  // namespace assay::analysis
