// Lines fitted together, pairs, bursts, source impedance: against closed forms.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

#include "analysis/amplifier/burst_reading.h"
#include "analysis/amplifier/faint_line.h"
#include "analysis/amplifier/intermodulation.h"
#include "analysis/amplifier/output_impedance.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

constexpr double pair_rate_hz = 48000.0;

// Cramer-Rao bound of an amplitude of known frequency: variance 2 sigma^2 / N (Kay, Estimation Theory, 1993).
TEST(FaintLine, DoubtIsTheBoundAndTheScatter) {
    constexpr std::size_t count = 24000;
    constexpr double sigma = 1e-3;
    constexpr int trials = 60;
    const std::array lines{1000.0, 1003.5};
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal(0.0, sigma);
    double square = 0.0;
    double doubt = 0.0;
    for (int trial = 0; trial < trials; ++trial) {
        std::vector<double> record(count);
        for (std::size_t n = 0; n < count; ++n) {
            const double t = (static_cast<double>(n) - 0.5 * (count - 1)) / pair_rate_hz;
            record[n] = std::cos(two_pi * 1000.0 * t) + normal(random) + 0.2;
        }
        const std::vector<Line> fitted = fit_lines(record, pair_rate_hz, lines);
        square += std::norm(fitted[1].phasor) / 2.0 / trials;
        doubt += fitted[1].doubt / trials;
        EXPECT_NEAR(fitted[0].phasor.real(), 1.0, 1e-4);
    }
    // Lines 3.5 Hz apart over half a second are nearly independent.
    EXPECT_NEAR(doubt / std::sqrt(2.0 * sigma * sigma / count), 1.0, 0.05);
    EXPECT_NEAR(std::sqrt(square) / doubt, 1.0, 0.2);  // 120 squares: 6.5 % one standard deviation
}

// 4:1 pair through x + a2 x^2 + a3 x^3, combined peak 1: sidebands a2 A1 A2 and 3/4 a3 A1^2 A2 over
// A2 (1 + 3/4 a3 A2^2 + 3/2 a3 A1^2) (elementary trigonometry).
TEST(Intermodulation, PolynomialClosedForm) {
    constexpr double a2 = 0.01;
    constexpr double a3 = -0.04;
    std::vector<double> record(52800);
    for (std::size_t n = 0; n < record.size(); ++n) {
        const double t = static_cast<double>(n) / pair_rate_hz;
        const double x = 0.8 * std::sin(two_pi * 60.0 * t) + 0.2 * std::sin(two_pi * 7000.0 * t);
        record[n] = x + a2 * x * x + a3 * x * x * x;
    }
    const auto reading = read_pair(record, pair_rate_hz, 60.0, 7000.0, PairMethod::modulation, 22000.0);
    const double high = 1.0 + 0.75 * a3 * 0.04 + 1.5 * a3 * 0.64;
    EXPECT_NEAR(reading.second->ratio, 2.0 * a2 * 0.8 / high, 1e-7);
    EXPECT_NEAR(reading.third->ratio, 0.03998334, 1e-7);
    EXPECT_FALSE(read_pair(record, pair_rate_hz, 60.0, 7000.0, PairMethod::modulation, 7050.0).second);
}

TEST(BurstReading, TwoCyclesLessDoNotMatter) {
    std::vector<double> record(17 * 48);
    for (std::size_t n = 0; n < record.size(); ++n) {
        const double p = two_pi * 1000.0 * static_cast<double>(n) / pair_rate_hz;
        record[n] = 3.0 * std::sin(p) + 0.04 * std::sin(3.0 * p) + 0.03 * std::cos(2.0 * p);
    }
    const std::array<std::span<const double>, 2> bursts{record, record};
    const StepReading reading = read_bursts(bursts, pair_rate_hz, 1000.0, 1000.0, 20000.0);
    EXPECT_NEAR(reading.thd, 0.05 / 3.0, 1e-9);
    EXPECT_NEAR(reading.total_v, std::sqrt((9.0 + 0.0025) / 2.0), 1e-9);
    EXPECT_EQ(reading.harmonics_in_band, 19);
}

// Voltage divider: 4 ohm behind 0.1 ohm and 2 uH.
TEST(OutputImpedance, DividerUndone) {
    const std::complex<double> load = load_impedance(4.0, 1.5e-6, 10000.0);
    const std::complex<double> inner(0.1, two_pi * 10000.0 * 2e-6);
    const std::complex<double> found = output_impedance(12.0, 12.0 * load / (load + inner), load);
    EXPECT_NEAR(std::abs(found - inner), 0.0, 1e-12);
}

}  // namespace
}  // namespace assay::analysis
