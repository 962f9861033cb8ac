// Whole takes of the simulated bench: what the card does to a signal, folding, heat, silence, order.
#include "unit/simulated/take.h"

#include <gtest/gtest.h>

#include "capture/simulated/card.h"
#include "capture/simulated/warming_loads.h"

namespace assay::capture {
namespace {

using test::Channels;
using test::decibels;
using test::projected;
using test::record;
using test::rms;
using test::steady_tone;
using test::two_channel_bench;

constexpr double take_rate_hz = 96000.0;

/// An amplifier that is a plain factor of ten in the audio band, far below its limits.
Bench plain_bench(double load_ohm) {
    Bench bench = two_channel_bench(load_ohm);
    SimulatedAmplifier& amplifier = bench.simulated.amplifier;
    amplifier.gain_db = 20.0;
    amplifier.supply_v = 100.0;
    amplifier.rail_v_per_supply_v = 2.0;
    amplifier.output_resistance_ohm = 0.0;
    amplifier.low_cut_hz = 0.01;
    amplifier.high_cut_hz = 300000.0;
    amplifier.crosstalk_db = -200.0;
    bench.simulated.load_tempco_ppm_per_k = 0.0;
    bench.simulated.card.coupling_hz = 0.01;
    return bench;
}

/// Tangent of the phase that the high cut at 300 kHz gives at 1 kHz: a first-order section whose corner
/// is set by the bilinear rule, closed form.
double high_cut_tangent() {
    const double fine_hz = std::ldexp(take_rate_hz, fine_grid_stages(take_rate_hz));
    return std::tan(std::numbers::pi * 1000.0 / fine_hz) / std::tan(std::numbers::pi * 300000.0 / fine_hz);
}

/// Largest product that folding can have made of a 997 Hz tone clipped 6 dB over, re the tone, dB.
/// Over 1 s at a whole rate every product falls on a whole hertz; those that folded fall beside the
/// multiples of 997 Hz.
double worst_alias_db(double card_rate_hz) {
    Bench bench = plain_bench(8.0);
    SimulatedAmplifier& amplifier = bench.simulated.amplifier;
    amplifier.supply_v = 10.0;  // rails of 20 V, no sag
    amplifier.supply_resistance_ohm = 0.0;
    amplifier.rail_resistance_ohm = 0.0;
    amplifier.softness = 0.0;
    amplifier.saturation_v = 0.0;
    amplifier.gain_db = decibels(20.0) + 6.0 - decibels(2.0);  // full scale of 2 V asks for twice the rail
    const std::vector<double> seen = record(bench, steady_tone(997.0, 0.0, 1.2, card_rate_hz), {0})[0];
    const auto second = static_cast<std::size_t>(card_rate_hz);
    const std::size_t first = second / 10;
    const double fundamental = std::abs(projected(seen, first, second, 997.0, card_rate_hz));
    // Harmonic n folds from the fine grid to |k rate - 997 n|: every order up to one and a half times the
    // grid; what lies beyond is smaller by the square of the order.
    const double fine_hz = std::ldexp(card_rate_hz, fine_grid_stages(card_rate_hz));
    double worst = 0.0;
    for (int order = 3; order * 997.0 < 1.5 * fine_hz; order += 2) {
        const double harmonic_hz = order * 997.0;
        if (harmonic_hz < 0.5 * card_rate_hz) continue;
        const double folded_hz =
            std::abs(harmonic_hz - card_rate_hz * std::round(harmonic_hz / card_rate_hz));
        if (std::fmod(folded_hz, 997.0) == 0.0 || folded_hz == 0.5 * card_rate_hz) continue;
        worst = std::max(worst, std::abs(projected(seen, first, second, folded_hz, card_rate_hz)));
    }
    return decibels(worst / fundamental);
}

TEST(Take, HardClippingSixDecibelsOverFoldsBelowMinus110) {
    const double worst_db = worst_alias_db(take_rate_hz);
    RecordProperty("worst_alias_db_96k", std::to_string(worst_db));
    std::printf("worst alias at 96 kHz: %.1f dB re the fundamental\n", worst_db);
    EXPECT_LT(worst_db, -110.0);
}

TEST(Take, FoldingIsAsLowAtFortyFour) {
    const double worst_db = worst_alias_db(44100.0);
    std::printf("worst alias at 44.1 kHz: %.1f dB re the fundamental\n", worst_db);
    EXPECT_LT(worst_db, -110.0);
}

TEST(Take, LevelIsVoltsOverDividerAndFullScale) {
    const Channels seen = record(plain_bench(8.0), steady_tone(1000.0, -20.0, 0.5), {0});
    // 2 V peak full scale out, 20 dB down, gain 10, divider 20, 2 V full scale in.
    EXPECT_NEAR(std::abs(projected(seen[0], 9600, 9600, 1000.0, take_rate_hz)),
                0.2 * 10.0 / 20.0 / 2.0 / std::hypot(1.0, high_cut_tangent()),
                1e-7);  // two filters of 120 dB ripple on 0.05
    // Channel 2 is fed by an output that does not play.
    EXPECT_EQ(rms(seen[1], 0, seen[1].size()), 0.0);
}

TEST(Take, TrueScalesOfTheCardOverrideThoseOfTheBench) {
    Bench bench = plain_bench(8.0);
    bench.simulated.card.full_scale_in_v = 2.1;
    bench.simulated.card.full_scale_out_v = 1.9;
    bench.inputs[0].inverted = true;
    const Channels seen = record(bench, steady_tone(1000.0, -20.0, 0.5), {0});
    const auto value = projected(seen[0], 9600, 9600, 1000.0, take_rate_hz) * std::complex<double>(0.0, 1.0);
    EXPECT_NEAR(value.real(), -0.19 * 10.0 / 20.0 / 2.1, 1e-6);
}

TEST(Take, DelayIsTheStatedTime) {
    for (const double delay_s : {0.0, 0.0123456, 0.75}) {
        Bench bench = plain_bench(8.0);
        bench.simulated.card.delay_s = delay_s;
        const Channels seen = record(bench, steady_tone(1000.0, -20.0, 0.5), {0});
        const auto first = static_cast<std::size_t>(std::ceil((delay_s + 0.1) * take_rate_hz / 96.0)) * 96;
        // sin is cos a quarter turn late; what remains of the phase is the delay and the amplifier's own.
        const double phase = std::arg(projected(seen[0], first, 9600, 1000.0, take_rate_hz) *
                                      std::polar(1.0, 2.0 * std::numbers::pi * 1000.0 * delay_s) *
                                      std::complex<double>(0.0, 1.0));
        // Two couplings at 0.01 Hz lead by 1e-5 each. 1e-6 rad of 1 kHz is 0.2 ns.
        EXPECT_NEAR(phase, 2e-5 - std::atan(high_cut_tangent()), 1e-6) << delay_s;
        EXPECT_EQ(seen[0].size(),
                  static_cast<std::size_t>(std::ceil(48000.0 + (delay_s + 0.1) * take_rate_hz)));
    }
}

TEST(Take, RecordClockCountsMoreSamplesWhenItsErrorIsPositive) {
    Bench bench = plain_bench(8.0);
    bench.simulated.card.clock_ppm = 500.0;
    const Channels seen = record(bench, steady_tone(1000.0, -20.0, 2.2), {0});
    // The frequency by phase: two stretches of 0.2 s, 1 s apart, at the frequency that a recorder 500 ppm
    // fast must show.
    const double shown_hz = 1000.0 / (1.0 + 500e-6);
    const auto early = projected(seen[0], 19200, 19200, shown_hz, take_rate_hz);
    const auto late = projected(seen[0], 115200, 19200, shown_hz, take_rate_hz);
    EXPECT_NEAR(std::arg(late / early) / (2.0 * std::numbers::pi), 0.0, 1e-5);  // Hz, of 1000
    EXPECT_NEAR(std::abs(late), 0.05, 1e-5);
}

TEST(Take, CouplingIsThreeDecibelsDownAtItsCorner) {
    Bench bench = plain_bench(8.0);
    bench.simulated.card.coupling_hz = 10.0;
    for (const double frequency_hz : {10.0, 20.0, 100.0}) {
        const Channels seen = record(bench, steady_tone(frequency_hz, -20.0, 0.7), {0});
        const double wanted = 0.05 / std::hypot(1.0, 10.0 / frequency_hz);
        EXPECT_NEAR(std::abs(projected(seen[0], 38400, 19200, frequency_hz, take_rate_hz)), wanted, 5e-6)
            << frequency_hz;
    }
}

TEST(Take, NoiseOfCardAndAmplifierIsAsStated) {
    Bench bench = plain_bench(8.0);
    bench.simulated.card.noise_dbfs = -90.0;
    bench.inputs.push_back(Input{.name = "unused", .channel = 4});
    Channels seen = record(bench, steady_tone(1000.0, -200.0, 2.0), {0});
    ASSERT_EQ(seen.size(), 4U);
    // RMS of a full-scale sine is 1 / sqrt 2. Its own scatter over 2e5 samples: 0.16 %.
    for (const auto& channel : seen) {
        EXPECT_NEAR(rms(channel, 0, channel.size()) * std::numbers::sqrt2, std::pow(10.0, -4.5),
                    0.01 * std::pow(10.0, -4.5));
    }
    bench.simulated.card.noise_dbfs = -200.0;
    bench.simulated.amplifier.noise_v = 0.01;
    seen = record(bench, steady_tone(1000.0, -200.0, 2.0), {0});
    // White over half the rate, 0.01 V of it within 20 Hz to 20 kHz, at 40 V a unit.
    const double wanted = 0.01 * std::sqrt(48000.0 / 19980.0) / 40.0;
    EXPECT_NEAR(rms(seen[0], 0, seen[0].size()), wanted, 0.01 * wanted);
}

TEST(Take, CeilingFlattensAndFullScaleHolds) {
    Bench bench = plain_bench(8.0);
    bench.inputs[0].attenuation = 1.0;
    bench.inputs[1].attenuation = 1.0;
    bench.simulated.card.ceiling_dbfs = -6.0;
    std::vector<double> seen = record(bench, steady_tone(100.0, -20.0, 0.3), {0})[0];  // 2 V peak of 2 V
    // Far from its edges the flat part stands at the ceiling; the filter rings at the edges only.
    EXPECT_NEAR(seen[96 * 100 + 240], std::pow(10.0, -0.3), 1e-4);
    bench.simulated.card.ceiling_dbfs = 20.0;
    seen = record(bench, steady_tone(100.0, -14.0, 0.3), {0})[0];
    EXPECT_EQ(*std::max_element(seen.begin(), seen.end()), 1.0 - std::ldexp(1.0, -23));
    EXPECT_EQ(*std::min_element(seen.begin(), seen.end()), -1.0);
}

TEST(Take, BitsAreTheStepsOfTheRecording) {
    Bench bench = plain_bench(8.0);
    bench.simulated.card.bits = 16;
    const Channels seen = record(bench, steady_tone(997.0, -20.0, 0.1), {0});
    for (const double value : seen[0]) {
        ASSERT_EQ(value * 32768.0, std::round(value * 32768.0));
    }
}

TEST(Take, ReferenceInputSeesTheDrive) {
    Bench bench = plain_bench(8.0);
    bench.inputs.push_back(
        Input{.name = "reference", .channel = 3, .volts_at_full_scale = 2.0, .role = InputRole::reference});
    const Channels seen = record(bench, steady_tone(1000.0, -20.0, 0.3), {0});
    EXPECT_NEAR(std::abs(projected(seen[2], 9600, 9600, 1000.0, take_rate_hz)), 0.1, 1e-6);
}

TEST(Take, LoadWarmsAndTakesTheVoltageWithIt) {
    Bench bench = plain_bench(4.0);
    const std::vector<WiredLoad> loads{{0, 0, std::nullopt}};
    bench.simulated.load_tempco_ppm_per_k = 200.0;
    bench.simulated.load_k_per_w = 2.0;
    bench.simulated.load_time_constant_s = 10.0;
    WarmingLoads heat(bench, loads);
    // 20 V on 4 ohm is 100 W: 200 K in the end, (1 - exp(-t / tau)) of it after t; the power falls with the
    // rising resistance, so the closed form is that of the equation tau T' = k V^2 / (R (1 + a T)) - T.
    const std::vector<double> volts(8, 20.0);
    for (int i = 0; i < 10000; ++i) heat.warm({volts, volts}, 0.001);
    double rise_k = 0.0;  // by Heun's rule, twentieth of the step
    constexpr double step_s = 0.00005;
    const auto slope = [](double t) { return (2.0 * 400.0 / (4.0 * (1.0 + 200e-6 * t)) - t) / 10.0; };
    for (int i = 0; i < 200000; ++i) {
        const double guess_k = rise_k + step_s * slope(rise_k);
        rise_k += 0.5 * step_s * (slope(rise_k) + slope(guess_k));
    }
    EXPECT_NEAR(heat.rise_k(0), rise_k, 0.01);
    EXPECT_NEAR(1.0 / heat.conductance_s()[0], 4.0 * (1.0 + 200e-6 * rise_k), 1e-5);
}

TEST(Take, ABridgedLoadCountsAsHalfAtEachChannel) {
    const Bench bench = test::bridged_bench(4.0);
    const WarmingLoads heat(bench, {{0, 0, 1}});
    EXPECT_DOUBLE_EQ(heat.conductance_s()[0], 0.5);
    EXPECT_DOUBLE_EQ(heat.conductance_s()[1], 0.5);
    Bench open = test::two_channel_bench(std::numeric_limits<double>::infinity());
    EXPECT_EQ(WarmingLoads(open, {{0, 0, std::nullopt}}).conductance_s()[0], 0.0);
}

TEST(Take, BridgedChannelsGoOppositeWays) {
    Bench bench = plain_bench(8.0);
    bench.outputs.pop_back();
    bench.loads = test::bridged_bench(8.0).loads;
    const Channels seen = record(bench, steady_tone(1000.0, -20.0, 0.3), {0});
    for (std::size_t i = 0; i < seen[0].size(); ++i) ASSERT_NEAR(seen[0][i], -seen[1][i], 3e-7);
    EXPECT_NEAR(std::abs(projected(seen[0], 9600, 9600, 1000.0, take_rate_hz)), 0.05, 1e-6);
}

TEST(Take, SameSeedAndNameGiveTheSameSamples) {
    Bench bench = two_channel_bench(4.0);
    bench.simulated.card.noise_dbfs = -100.0;
    const Tone tone = steady_tone(997.0, -20.0, 0.1);
    const Channels once = record(bench, tone, {0, 1});
    EXPECT_EQ(once, record(bench, tone, {0, 1}));
    bench.simulated.seed = 2;
    EXPECT_NE(once, record(bench, tone, {0, 1}));
}

}  // namespace
}  // namespace assay::capture
