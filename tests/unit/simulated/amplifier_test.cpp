// The amplifier by itself against closed forms.
#include "capture/simulated/amplifier.h"

#include <gtest/gtest.h>

#include "unit/simulated/take.h"

namespace assay::capture {
namespace {

using test::projected;

constexpr double model_rate_hz = 1.536e6;

/// No sag, no limit in reach, no defects: each test adds its own.
SimulatedAmplifier plain() {
    SimulatedAmplifier settings;
    settings.gain_db = 20.0;
    settings.supply_v = 20.0;
    settings.supply_resistance_ohm = 0.0;
    settings.idle_current_a = 0.0;
    settings.converter_efficiency = 1.0;
    settings.rail_v_per_supply_v = 2.0;
    settings.rail_resistance_ohm = 0.0;
    settings.saturation_v = 0.0;
    settings.saturation_resistance_ohm = 0.0;
    settings.output_resistance_ohm = 0.0;
    settings.softness = 0.0;
    settings.low_cut_hz = 0.01;
    settings.high_cut_hz = 300000.0;
    settings.crosstalk_db = -200.0;
    return settings;
}

struct Outputs {
    std::vector<double> first;
    std::vector<double> second;
};

/// Channel 1 driven by a sine of `peak_v` at the input, channel 2 by `second_part` of it.
Outputs run(AmplifierModel& model, double frequency_hz, double peak_v, double seconds,
            double second_part = 0.0) {
    const auto count = static_cast<std::size_t>(seconds * model_rate_hz);
    std::vector<double> drive(count);
    std::vector<double> other(count);
    for (std::size_t i = 0; i < count; ++i) {
        drive[i] =
            peak_v * std::sin(2.0 * std::numbers::pi * frequency_hz * static_cast<double>(i) / model_rate_hz);
        other[i] = second_part * drive[i];
    }
    Outputs out{std::vector<double>(count), std::vector<double>(count)};
    model.process({drive, other}, {out.first, out.second});
    return out;
}

/// Peak of one frequency over the last 10 ms, a whole number of cycles for multiples of 100 Hz.
double peak_at(const std::vector<double>& samples, double frequency_hz) {
    constexpr std::size_t count = 15360;
    return std::abs(projected(samples, samples.size() - count, count, frequency_hz, model_rate_hz));
}

TEST(Amplifier, BandLimitsAreMinusThreeDecibelsAtTheirFrequencies) {
    SimulatedAmplifier settings = plain();
    settings.low_cut_hz = 200.0;
    settings.high_cut_hz = 60000.0;
    for (const double frequency_hz : {200.0, 1000.0, 20000.0, 60000.0}) {
        AmplifierModel model(settings, model_rate_hz);
        const double gain = peak_at(run(model, frequency_hz, 0.1, 0.05).first, frequency_hz) / 0.1;
        // Closed form of two first-order sections.
        const double low = 1.0 / std::hypot(1.0, 200.0 / frequency_hz);
        const double high = 1.0 / std::hypot(1.0, frequency_hz / 60000.0);
        // The bilinear high cut bends by a thousandth of a decibel below its corner.
        EXPECT_NEAR(test::decibels(gain / (10.0 * low * high)), 0.0, 0.005) << frequency_hz;
    }
}

TEST(Amplifier, SecondAndThirdOrderAreWhatTheyAreCalledAtHalfTheRail) {
    SimulatedAmplifier settings = plain();
    settings.second_order = 1e-3;
    settings.third_order = 2e-3;
    AmplifierModel model(settings, model_rate_hz);
    const Outputs out = run(model, 1000.0, 2.0, 0.02);  // 20 V peak, half of the 40 V rail
    // Closed form: x + a x^2 + b x^3 of a sine of peak A has H1 = A + 3 b A^3 / 4, H2 = a A^2 / 2, H3 = b A^3
    // / 4.
    EXPECT_NEAR(peak_at(out.first, 1000.0), 20.0 * (1.0 + 3.0 * 2e-3), 1e-3);
    EXPECT_NEAR(peak_at(out.first, 2000.0) / 20.0, 1e-3, 1e-6);
    EXPECT_NEAR(peak_at(out.first, 3000.0) / 20.0, 2e-3, 2e-6);
}

TEST(Amplifier, HardClipHasTheHarmonicsOfTheClosedForm) {
    AmplifierModel model(plain(), model_rate_hz);
    const Outputs out = run(model, 1000.0, 8.0, 0.02);  // 80 V wanted, 40 V to be had
    // Fourier series of a sine of peak A clipped at C = A sin(p), odd n > 1:
    // b_n = (2 A / pi) (sin((n-1) p) / (n (n-1)) + sin((n+1) p) / (n (n+1)));
    // b_1 = (2 A / pi) (p + sin p cos p).
    const double p = std::numbers::pi / 6.0;
    const double scale = 2.0 * 80.0 / std::numbers::pi;
    EXPECT_NEAR(peak_at(out.first, 1000.0), scale * (p + std::sin(p) * std::cos(p)), 2e-3);
    for (const int n : {3, 5, 7, 9, 19}) {
        const double order = n;
        const double wanted = scale * std::abs(std::sin((order - 1.0) * p) / (order * (order - 1.0)) +
                                               std::sin((order + 1.0) * p) / (order * (order + 1.0)));
        EXPECT_NEAR(peak_at(out.first, 1000.0 * order), wanted, 2e-3) << n;
    }
}

TEST(Amplifier, SoftLimitBeginsEarlierAndEndsAtTheSameLimit) {
    SimulatedAmplifier settings = plain();
    settings.softness = 0.5;
    AmplifierModel model(settings, model_rate_hz);
    // Below half of the limit nothing bends; at the limit the parabola has taken softness / 4 of it.
    const Outputs low = run(model, 1000.0, 1.9, 0.02);
    EXPECT_NEAR(*std::max_element(low.first.begin(), low.first.end()), 19.0, 2e-3);
    AmplifierModel at_limit(settings, model_rate_hz);
    const Outputs middle = run(at_limit, 1000.0, 4.0, 0.02);
    EXPECT_NEAR(*std::max_element(middle.first.begin(), middle.first.end()), 40.0 * (1.0 - 0.5 / 4.0), 5e-3);
    AmplifierModel far(settings, model_rate_hz);
    const Outputs high = run(far, 1000.0, 9.0, 0.02);
    EXPECT_DOUBLE_EQ(*std::max_element(high.first.begin(), high.first.end()), 40.0);
}

TEST(Amplifier, DeadZoneTakesItsWidthFromThePeakAndHasNoGainAtZero) {
    SimulatedAmplifier settings = plain();
    settings.crossover_v = 0.5;
    AmplifierModel model(settings, model_rate_hz);
    const Outputs out = run(model, 1000.0, 2.0, 0.02);
    // x - c x / sqrt(x^2 + c^2) at x = 20, c = 0.5.
    const double wanted = 20.0 - 0.5 * 20.0 / std::hypot(20.0, 0.5);
    EXPECT_NEAR(*std::max_element(out.first.begin(), out.first.end()), wanted, 2e-3);
    AmplifierModel quiet(settings, model_rate_hz);
    // At small x the law is x^3 / (2 c^2).
    const Outputs small = run(quiet, 1000.0, 0.001, 0.02);
    EXPECT_NEAR(*std::max_element(small.first.begin(), small.first.end()), 1e-6 / 0.5, 2e-9);
}

TEST(Amplifier, UnevenRailsClipUnevenly) {
    SimulatedAmplifier settings = plain();
    settings.rail_scale = {0.9, 0.6};
    settings.saturation_v = 1.0;
    AmplifierModel model(settings, model_rate_hz);
    const Outputs out = run(model, 1000.0, 8.0, 0.02);
    EXPECT_DOUBLE_EQ(*std::max_element(out.first.begin(), out.first.end()), 0.9 * 40.0 - 1.0);
    EXPECT_DOUBLE_EQ(*std::min_element(out.first.begin(), out.first.end()), -(0.6 * 40.0 - 1.0));
}

/// Ohm's law for a square wave of both channels into a load: each rail carries half of the time.
double square_wave_peak_v(const SimulatedAmplifier& settings, double load_ohm, double channels) {
    const double k = settings.rail_v_per_supply_v;
    const double open_v = k * (settings.supply_v - settings.supply_resistance_ohm * settings.idle_current_a);
    // Peak V draws a mean of channels V / (2 R) from each rail, and k / efficiency times both from the
    // battery.
    const double mean_a_per_v = channels / (2.0 * load_ohm);
    const double fall_per_v =
        mean_a_per_v * (settings.rail_resistance_ohm +
                        2.0 * k * k * settings.supply_resistance_ohm / settings.converter_efficiency);
    return (open_v - settings.saturation_v) /
           (1.0 + settings.saturation_resistance_ohm / load_ohm + fall_per_v);
}

TEST(Amplifier, RailsSagWithTheCurrentOfBothChannelsTogether) {
    SimulatedAmplifier settings = plain();
    settings.supply_v = 12.0;
    settings.supply_resistance_ohm = 0.03;
    settings.idle_current_a = 1.0;
    settings.converter_efficiency = 0.85;
    settings.rail_resistance_ohm = 0.4;
    settings.saturation_v = 1.2;
    settings.saturation_resistance_ohm = 0.3;
    for (const double load_ohm : {2.0, 4.0, 8.0}) {
        for (const double second : {0.0, 1.0}) {
            AmplifierModel model(settings, model_rate_hz);
            model.connect({1.0 / load_ohm, 1.0 / load_ohm});
            // Driven 80 dB over, so that the output is a square wave.
            const Outputs out = run(model, 1000.0, 2e4, 0.3, second);
            // The reservoirs ripple within a cycle, so the mean of the flat tops is what settles.
            const double peak_v = test::rms(out.first, out.first.size() - 15360, 15360);
            const double wanted_v = square_wave_peak_v(settings, load_ohm, 1.0 + second);
            EXPECT_NEAR(peak_v, wanted_v, 1e-3 * wanted_v) << load_ohm << " ohm, second channel " << second;
        }
    }
}

TEST(Amplifier, RailsFallWithTheTimeConstantOfTheReservoirs) {
    SimulatedAmplifier settings = plain();
    settings.rail_resistance_ohm = 0.5;
    settings.rail_time_constant_s = 0.05;
    AmplifierModel model(settings, model_rate_hz);
    model.connect({0.25, 0.0});
    // 20 V peak into 4 ohm, class B: each rail carries 5 A / pi on the mean and falls towards 0.5 ohm times
    // that.
    run(model, 1000.0, 2.0, 0.05);
    const double settled_v = 0.5 * 5.0 / std::numbers::pi;
    // After one time constant 1 - 1/e of the way; at a zero crossing the ripple is within half a cycle's
    // charge.
    const double ripple_v = 0.5 * 5.0 / std::numbers::pi * 0.0005 / 0.05;
    EXPECT_NEAR(40.0 - model.rails_v()[0], settled_v * (1.0 - std::exp(-1.0)), ripple_v);
}

TEST(Amplifier, OutputResistanceAndCrosstalkAndHumAreAsSet) {
    SimulatedAmplifier settings = plain();
    settings.output_resistance_ohm = 0.1;
    settings.crosstalk_db = -60.0;
    settings.hum_v = 0.01;
    settings.hum_hz = 100.0;
    settings.second_channel_inverted = true;
    settings.channel_gain_db = {0.0, -6.0};
    AmplifierModel model(settings, model_rate_hz);
    model.connect({0.25, 0.0});
    const Outputs out = run(model, 1000.0, 0.5, 0.02);
    EXPECT_NEAR(peak_at(out.first, 1000.0), 5.0 * 4.0 / 4.1, 1e-4);
    EXPECT_NEAR(peak_at(out.second, 1000.0), 5.0e-3, 1e-6);
    EXPECT_NEAR(peak_at(out.second, 100.0), std::numbers::sqrt2 * 0.01, 1e-6);
    AmplifierModel both(settings, model_rate_hz);
    const Outputs pair = run(both, 1000.0, 0.5, 0.02, 1.0);
    const auto first = projected(pair.first, 15360, 15360, 1000.0, model_rate_hz);
    const auto second = projected(pair.second, 15360, 15360, 1000.0, model_rate_hz);
    // Inverted and 6 dB lower, each with a thousandth of the other.
    const double low = std::pow(10.0, -0.3);
    EXPECT_NEAR((second / first).real(), -(low - 1e-3) / (1.0 - 1e-3 * low), 1e-6);
}

}  // namespace
}  // namespace assay::capture
