// The simulated driver and its jig against closed forms.
#include "capture/simulated/driver.h"

#include <gtest/gtest.h>

#include <cmath>
#include <iostream>

#include "analysis/units.h"
#include "capture/simulated/driver_run.h"
#include "unit/simulated/take.h"

namespace assay::capture {
namespace {

using Complex = std::complex<double>;

SimulatedDriver plain_driver() {
    SimulatedDriver driver;
    driver.coil_k = 0.0;
    driver.creep_lambda = 0.0;
    return driver;
}

struct Textbook {
    double fs_hz, qms, qes, vas_m3;
};

/// R. H. Small, "Direct-radiator loudspeaker system analysis" (J. Audio Eng. Soc. 20, 1972), from memory.
Textbook textbook_of(const SimulatedDriver& driver) {
    const double mass = driver.mms_g * 1e-3;
    const double compliance = driver.cms_mm_per_n * 1e-3;
    const double omega = 1.0 / std::sqrt(mass * compliance);
    const double area = driver.sd_cm2 * 1e-4;
    return {omega / analysis::two_pi, omega * mass / driver.rms_kg_per_s,
            omega * mass * driver.re_ohm / (driver.bl_tm * driver.bl_tm),
            1.4005 * driver.pressure_hpa * 100.0 * area * area * compliance};
}

TEST(SimulatedDriver, ImpedanceIsSmallsEquivalentCircuit) {
    SimulatedDriver driver = plain_driver();
    driver.le_mh = 0.4;
    driver.l2_mh = 0.9;
    driver.r2_ohm = 7.0;
    const Textbook book = textbook_of(driver);
    const double res_ohm = driver.re_ohm * book.qms / book.qes;
    for (const double f : {5.0, 20.0, book.fs_hz, 55.0, 400.0, 5000.0, 20000.0}) {
        const Complex q(0.0, f / book.fs_hz);
        const Complex motion = res_ohm * (q / book.qms) / (q * q + q / book.qms + 1.0);
        const Complex jw(0.0, analysis::two_pi * f);
        const Complex lossy = 1.0 / (1.0 / 7.0 + 1.0 / (jw * 0.9e-3));
        const Complex expected = driver.re_ohm + jw * 0.4e-3 + lossy + motion;
        const Complex z = driver_impedance(driver, {}, analysis::two_pi * f);
        EXPECT_LT(std::abs(z - expected) / std::abs(expected), 1e-12) << f;
    }
    EXPECT_EQ(driver_impedance(driver, {}, 0.0), Complex(driver.re_ohm));
}

TEST(SimulatedDriver, FractionalCoilHasItsSlopeAndAngle) {
    SimulatedDriver driver = plain_driver();
    driver.bl_tm = 0.0;
    driver.coil_k = 0.03;
    driver.coil_n = 0.7;
    // K (j w)^n = K w^n (cos(n pi / 2) + j sin(n pi / 2))
    const double w = analysis::two_pi * 8000.0;
    const Complex expected = driver.re_ohm + std::polar(0.03 * std::pow(w, 0.7), 0.35 * std::numbers::pi);
    EXPECT_LT(std::abs(driver_impedance(driver, {}, w) - expected), 1e-10);
}

/// Where the impedance is real, by bisection.
double resonance_hz(const SimulatedDriver& driver, const DriverMount& mount, double low_hz, double high_hz) {
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low_hz + high_hz);
        (driver_impedance(driver, mount, analysis::two_pi * middle).imag() > 0.0 ? low_hz : high_hz) = middle;
    }
    return low_hz;
}

TEST(SimulatedDriver, MassAndBoxMoveTheResonanceAsTheyShould) {
    const SimulatedDriver driver = plain_driver();
    const Textbook book = textbook_of(driver);
    // f = fs / sqrt(1 + dM / Mms)
    const double with_mass = resonance_hz(driver, {.added_mass_kg = 0.010}, 10.0, 100.0);
    EXPECT_NEAR(with_mass, book.fs_hz / std::sqrt(1.0 + 10.0 / driver.mms_g), 1e-9);
    // R. H. Small, "Closed-box loudspeaker systems" (1972), from memory: fc = fs sqrt(1 + Vas / Vb)
    const double in_box = resonance_hz(driver, {.box_m3 = 0.012}, 10.0, 300.0);
    EXPECT_NEAR(in_box, book.fs_hz * std::sqrt(1.0 + book.vas_m3 / 0.012), 1e-9);
    std::cout << "fs " << book.fs_hz << " Hz, with 10 g " << with_mass << " Hz, in 12 l " << in_box
              << " Hz\n";
}

TEST(SimulatedDriver, CreepLeavesResonanceAndSoftensBelow) {
    SimulatedDriver driver = plain_driver();
    driver.creep_lambda = 0.1;
    driver.rms_kg_per_s = 1e-9;
    const Textbook book = textbook_of(driver);
    // At a hundredth of fs the spring rules: displacement a newton is C (1 + 2 lambda + j lambda pi / (2 ln
    // 10) * -1).
    const double w = analysis::two_pi * book.fs_hz / 100.0;
    const Complex per_newton =
        driver_displacement(driver, {}, w) * driver_impedance(driver, {}, w) / driver.bl_tm;
    const Complex soft =
        driver.cms_mm_per_n * 1e-3 * Complex(1.0 + 0.2, -0.1 * std::numbers::pi / (2.0 * std::numbers::ln10));
    EXPECT_LT(std::abs(per_newton / soft - 1.0), 2e-4);  // the mass takes 1e-4 of the force
    EXPECT_NEAR(resonance_hz(driver, {}, 10.0, 100.0), book.fs_hz, 0.01 * book.fs_hz);
}

TEST(SimulatedDriver, ALeakOfALargeHoleIsNoBox) {
    SimulatedDriver driver = plain_driver();
    driver.leak_diameter_mm = 3.0;
    // A small hole lets the slowest motion pass and is shut for the quick: two peaks, the upper at fc.
    const double fc_hz = textbook_of(driver).fs_hz * std::sqrt(1.0 + textbook_of(driver).vas_m3 / 0.012);
    EXPECT_NEAR(resonance_hz(driver, {.box_m3 = 0.012}, 0.9 * fc_hz, 1.1 * fc_hz), fc_hz, 0.02 * fc_hz);
    driver.leak_diameter_mm = 100.0;
    const double open_hz = resonance_hz(driver, {.box_m3 = 0.012}, 10.0, 60.0);
    EXPECT_LT(open_hz, fc_hz);
}

Bench jig_bench() {
    Bench bench;
    bench.source = Source::simulated;
    bench.outputs = {Output{.name = "drive", .channel = 1, .volts_at_full_scale = 2.0}};
    bench.inputs = {Input{.name = "jig-1", .channel = 1, .volts_at_full_scale = 2.0},
                    Input{.name = "jig-2", .channel = 2, .volts_at_full_scale = 2.0}};
    ImpedanceJig jig;
    jig.series_ohm = 22.0;
    jig.generator_side = 0;
    jig.driver_side = 1;
    bench.jig = jig;
    bench.simulated.card.noise_dbfs = -200.0;
    bench.simulated.card.delay_s = 0.0;
    return bench;
}

constexpr Multitone short_tone{
    .period_s = 1.0, .start_hz = 10.0, .stop_hz = 20000.0, .lines_per_octave = 6.0};
constexpr double settling_s = 3.0;

Tone settled_tone(double rate_hz, double level_dbfs = -10.0) {
    Tone tone;
    tone.rate_hz = rate_hz;
    tone.frames = static_cast<std::int64_t>(4.2 * rate_hz);
    tone.segments = {Segment{.first_frame = 0,
                             .frames = tone.frames,
                             .law = short_tone,
                             .level_dbfs = level_dbfs,
                             .fade_frames = static_cast<std::int64_t>(0.02 * rate_hz)}};
    return tone;
}

/// Complex amplitude of a line at each input, over one period after settling.
struct LineVolts {
    double frequency_hz = 0.0;
    Complex generator{};
    Complex driver{};
};

std::vector<LineVolts> measured(const Bench& bench, const PlayRequest::InJig& in_jig, double rate_hz,
                                double level_dbfs = -10.0) {
    const Tone tone = settled_tone(rate_hz, level_dbfs);
    test::Channels channels(2);
    const auto sink = [&](std::span<const float> frames) -> Result<void> {
        for (std::size_t i = 0; i < frames.size(); ++i)
            channels[i % 2].push_back(static_cast<double>(frames[i]));
        return {};
    };
    const std::atomic<bool> stop{false};
    const SimulatedTake take{"take", &tone, {0}, {}, in_jig};
    if (const auto done = simulate_take(bench, take, sink, {}, stop); !done)
        throw std::runtime_error(done.error().text);
    std::vector<LineVolts> lines;
    const auto first = static_cast<std::size_t>(settling_s * rate_hz);
    const auto count = static_cast<std::size_t>(rate_hz);
    for (const ToneLine& line : lines_of(short_tone)) {
        if (line.frequency_hz > 0.45 * rate_hz) break;
        lines.push_back({line.frequency_hz,
                         2.0 * test::projected(channels[0], first, count, line.frequency_hz, rate_hz),
                         2.0 * test::projected(channels[1], first, count, line.frequency_hz, rate_hz)});
    }
    return lines;
}

/// Largest relative error of the impedance that the two inputs show.
template <class Expected, class FromVolts>
double worst_error(const std::vector<LineVolts>& lines, const Expected& expected,
                   const FromVolts& from_volts) {
    double worst = 0.0;
    for (const LineVolts& line : lines) {
        const Complex truth = expected(analysis::two_pi * line.frequency_hz);
        worst = std::max(worst, std::abs(from_volts(line) / truth - 1.0));
    }
    return worst;
}

// 24 bits leave 2^-24 of full scale a sample; a line lies at about -30 dBFS and sums 48000 samples.
constexpr double rounding_of_24_bits = 2e-6;

TEST(SimulatedJig, VoltageRatioGivesTheDriverBack) {
    const Bench bench = jig_bench();
    for (const double rate_hz : {44100.0, 96000.0}) {
        const double worst = worst_error(
            measured(bench, {}, rate_hz),
            [&](double w) { return driver_impedance(bench.simulated.driver, {}, w); },
            [](const LineVolts& line) { return 22.0 * line.driver / (line.generator - line.driver); });
        std::cout << rate_hz << " Hz: Z off by at most " << worst << '\n';
        EXPECT_LT(worst, 10.0 * rounding_of_24_bits);
    }
}

TEST(SimulatedJig, SenseLowWithMassAndAnotherResistor) {
    Bench bench = jig_bench();
    bench.jig->topology = ImpedanceJig::Topology::sense_low;
    bench.simulated.jig.series_ohm = 1.02;
    bench.jig->series_ohm = 1.0;
    const double worst = worst_error(
        measured(bench, {.added_mass_g = 8.0}, 48000.0),
        [&](double w) { return driver_impedance(bench.simulated.driver, {.added_mass_kg = 8e-3}, w); },
        [](const LineVolts& line) { return 1.02 * (line.generator - line.driver) / line.driver; });
    std::cout << "Z off by at most " << worst << '\n';
    EXPECT_LT(worst, 1e-4);  // the sense voltage lies 20 dB below the series one's
}

TEST(SimulatedJig, LeadInputResistanceAndMismatchAreUndoneByTheirFormulas) {
    Bench bench = jig_bench();
    bench.jig->lead_ohm = 0.07;
    bench.jig->input_resistance_ohm = 10e3;
    bench.simulated.jig.mismatch_db = 0.11;
    bench.simulated.jig.mismatch_delay_us = 0.9;
    const auto at_driver = measured(bench, {}, 48000.0);
    const auto match = measured(bench, {.both_inputs_on_one_node = true}, 48000.0);
    ASSERT_EQ(at_driver.size(), match.size());
    double worst = 0.0;
    for (std::size_t k = 0; k < match.size(); ++k) {
        const Complex ratio = match[k].driver / match[k].generator;
        const double omega = analysis::two_pi * match[k].frequency_hz;
        EXPECT_NEAR(20.0 * std::log10(std::abs(ratio)), 0.11, 1e-4);
        EXPECT_NEAR(std::arg(ratio), -omega * 0.9e-6, 1e-5);
        const Complex vd = at_driver[k].driver / ratio;
        const Complex seen = 22.0 * vd / (at_driver[k].generator - vd);
        const Complex z = 1.0 / (1.0 / seen - 1e-4) - 0.07;
        worst = std::max(worst, std::abs(z / driver_impedance(bench.simulated.driver, {}, omega) - 1.0));
    }
    std::cout << "Z off by at most " << worst << '\n';
    EXPECT_LT(worst, 20.0 * rounding_of_24_bits);
}

TEST(SimulatedJig, WrongWiringLooksWrong) {
    Bench bench = jig_bench();
    bench.simulated.jig.driver_shorted = true;
    for (const LineVolts& line : measured(bench, {}, 44100.0)) EXPECT_LT(std::abs(line.driver), 1e-6);
    bench.simulated.jig.driver_shorted = false;
    bench.simulated.jig.driver_open = true;
    for (const LineVolts& line : measured(bench, {}, 44100.0))
        EXPECT_LT(std::abs(line.driver / line.generator - 1.0), 1e-5);
    bench.simulated.jig.driver_open = false;
    bench.simulated.jig.inputs_swapped = true;
    for (const LineVolts& line : measured(bench, {}, 44100.0))
        EXPECT_GT(std::abs(line.driver), std::abs(line.generator));
}

TEST(SimulatedJig, MoreLevelMoreComplianceWhereAsked) {
    Bench bench = jig_bench();
    bench.simulated.driver = plain_driver();
    bench.simulated.driver.compliance_rise_per_mm = 0.3;
    bench.simulated.jig.generator_gain_db = 10.0;
    const auto lowest_band = [&](double level_dbfs) {
        // Below resonance the stiffness rules: Im Z is about w Bl^2 C.
        const LineVolts line = measured(bench, {}, 44100.0, level_dbfs).front();
        return (22.0 * line.driver / (line.generator - line.driver)).imag();
    };
    bench.inputs[0].attenuation = bench.inputs[1].attenuation = 10.0;
    EXPECT_GT(lowest_band(-3.0), 1.005 * lowest_band(-30.0));
}

TEST(SimulatedJig, HumAndNoiseAreAsLoudAsAsked) {
    Bench bench = jig_bench();
    bench.simulated.jig.hum_v = 0.01;
    bench.simulated.jig.noise_v = 0.002;
    bench.outputs[0].volts_at_full_scale = 1e-6;
    const Tone tone = settled_tone(48000.0);
    test::Channels channels(2);
    const auto sink = [&](std::span<const float> frames) -> Result<void> {
        for (std::size_t i = 0; i < frames.size(); ++i)
            channels[i % 2].push_back(static_cast<double>(frames[i]));
        return {};
    };
    const std::atomic<bool> stop{false};
    const SimulatedTake take{"take", &tone, {0}, {}, PlayRequest::InJig{}};
    ASSERT_TRUE(simulate_take(bench, take, sink, {}, stop));
    const double volts =
        2.0 * std::abs(test::projected(channels[1], 0, 48000, 50.0, 48000.0)) / std::numbers::sqrt2;
    EXPECT_NEAR(volts, 0.01, 1e-4);  // noise of 0.002 V over 48000 samples: 1.3e-5 V
    const double all = 2.0 * test::rms(channels[0], 0, 48000 * 4);
    const double hum = 0.005 * std::sqrt(1.0 + 1.0 / 9.0 + 0.01);
    EXPECT_NEAR(all, std::sqrt(hum * hum + 0.002 * 0.002), 5e-5);
}

}  // namespace
}  // namespace assay::capture
