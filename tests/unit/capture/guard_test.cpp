#include "capture/guard.h"

#include <gmock/gmock.h>

#include <array>
#include <cmath>
#include <limits>

namespace assay::capture {
namespace {

using testing::HasSubstr;

Segment segment_at(std::int64_t first_frame, double level_dbfs, std::int64_t frames = 48000) {
    return {.first_frame = first_frame, .frames = frames, .level_dbfs = level_dbfs, .fade_frames = 480};
}

// Half a second at each level, one second apart.
Tone staircase(const std::vector<double>& levels_dbfs) {
    Tone tone{.rate_hz = 96000.0};
    for (const double level_dbfs : levels_dbfs) {
        tone.segments.push_back(segment_at(tone.frames, level_dbfs));
        tone.frames += 96000;
    }
    return tone;
}

Bench bench_with(const Output& output) {
    Bench bench;
    bench.outputs = {Output{.name = "other"}, output};
    return bench;
}

constexpr std::array<std::size_t, 1> second_output{1};

TEST(Guard, ReachingTheMaximumIsAllowedAndPassingItIsNot) {
    // 1.5 V of 2.1 V is 20 lg(1.5 / 2.1) = -2.92256 dB.
    const Bench bench =
        bench_with({.name = "drive", .channel = 2, .volts_at_full_scale = 2.1, .maximum_volts = 1.5});
    const double limit_dbfs = 20.0 * std::log10(1.5 / 2.1);
    EXPECT_TRUE(check_tone(bench, second_output, staircase({-20.0, limit_dbfs})).has_value());
    EXPECT_TRUE(check_tone(bench, second_output, staircase({limit_dbfs + 0.9e-9})).has_value());
    const auto refused = check_tone(bench, second_output, staircase({-20.0, -10.0, limit_dbfs + 1e-6}));
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().kind, FaultKind::bad_input_file);
    EXPECT_THAT(refused.error().text, HasSubstr("output \"drive\": 2.000 s into the tone"));
    EXPECT_FALSE(refused.error().mend.empty());
}

TEST(Guard, TheFaultSaysLevelsAndVolts) {
    const Bench bench =
        bench_with({.name = "drive", .channel = 2, .volts_at_full_scale = 2.1, .maximum_volts = 1.5});
    // -1 dBFS is 0.891251 of full scale: 1.871627 V.
    EXPECT_THAT(
        check_tone(bench, second_output, staircase({-1.0})).error().text,
        HasSubstr("it would play -1.00 dBFS (1.872 V peak), the bench allows -2.92 dBFS (1.500 V peak)"));
    const Bench no_volts = bench_with({.name = "drive", .channel = 2, .maximum_dbfs = -6.0});
    EXPECT_THAT(check_tone(no_volts, second_output, staircase({-1.0})).error().text,
                HasSubstr("it would play -1.00 dBFS, the bench allows -6.00 dBFS"));
}

TEST(Guard, OnlyTheOutputsThatPlayAreLookedAt) {
    const Bench bench = bench_with({.name = "drive", .channel = 2, .maximum_dbfs = -40.0});
    EXPECT_TRUE(check_tone(bench, std::array<std::size_t, 1>{0}, staircase({-1.0})).has_value());
    EXPECT_FALSE(check_tone(bench, std::array<std::size_t, 2>{0, 1}, staircase({-1.0})).has_value());
    EXPECT_FALSE(check_tone(bench, std::array<std::size_t, 1>{2}, staircase({-50.0})).has_value())
        << "no such output";
}

TEST(Guard, ATonePartWithoutFadesOrOutOfOrderIsRefused) {
    const Bench bench = bench_with({.name = "drive"});
    const auto with = [&](auto change) {
        Tone tone = staircase({-20.0, -19.0});
        change(tone);
        return check_tone(bench, second_output, tone).has_value();
    };
    EXPECT_TRUE(with([](Tone&) {}));
    EXPECT_FALSE(with([](Tone& tone) { tone.segments[1].fade_frames = 0; }));
    EXPECT_FALSE(with([](Tone& tone) { tone.segments[1].fade_frames = 24001; })) << "fades that cross";
    EXPECT_FALSE(with([](Tone& tone) { tone.segments[1].first_frame = 47999; })) << "overlap";
    EXPECT_FALSE(with([](Tone& tone) { tone.frames = 96000 + 47999; })) << "longer than the tone";
    EXPECT_FALSE(with([](Tone& tone) { tone.segments[0].level_dbfs = std::nan(""); }));
}

TEST(Guard, HeatOfAToneInTheLoad) {
    // Two steps of 0.5 s, fades of 5 ms that carry 3/8: 0.5 - 2 · 0.005 · 5/8 = 0.49375 s each. At 100 W for
    // the louder one and 25.1189 W (-6 dB) for the other: 61.7774 W·s in 2 s.
    const Load load{.name = "load-a", .resistance_ohm = 4.0, .rated_power_w = 50.0};
    const LoadHeat heat = heat_in_load(load, staircase({-12.0, -6.0}), 100.0);
    EXPECT_NEAR(heat.energy_ws, 0.49375 * (100.0 + 25.118864), 1e-5);
    EXPECT_NEAR(heat.average_power_w, heat.energy_ws / 2.0, 1e-12);
    EXPECT_EQ(heat.highest_power_w, 100.0);
    EXPECT_EQ(heat.rating_w, 50.0);
    EXPECT_DOUBLE_EQ(heat.above_rating_s, 0.5);
    EXPECT_EQ(heat.verdict, LoadHeat::Verdict::within_average);
    EXPECT_EQ(heat.text,
              "load-a: 62 W·s in 2.0 s, 30.9 W on average, 100.0 W at most; above its 50.0 W for 0.5 s, "
              "within it on "
              "average");
}

TEST(Guard, VerdictsOfHeat) {
    Load load{.name = "load-a", .resistance_ohm = 4.0};
    const Tone tone = staircase({-12.0, -6.0});  // 30.9 W on average of 100 W at most
    const auto verdict = [&] { return heat_in_load(load, tone, 100.0).verdict; };
    EXPECT_EQ(verdict(), LoadHeat::Verdict::unrated);
    load.rated_power_w = 100.0;
    EXPECT_EQ(verdict(), LoadHeat::Verdict::within);
    load.rated_power_no_heatsink_w = 31.0;
    EXPECT_EQ(verdict(), LoadHeat::Verdict::within_average)
        << "the rating without heatsink is the one that counts";
    load.rated_power_no_heatsink_w = 30.0;
    EXPECT_EQ(verdict(), LoadHeat::Verdict::over);
    EXPECT_THAT(heat_in_load(load, tone, 100.0).text, HasSubstr("MORE THAN ITS 30.0 W"));
    load.resistance_ohm = std::numeric_limits<double>::infinity();
    EXPECT_EQ(verdict(), LoadHeat::Verdict::no_power);
    EXPECT_EQ(heat_in_load(load, tone, 100.0).energy_ws, 0.0);
}

}  // namespace
}  // namespace assay::capture
