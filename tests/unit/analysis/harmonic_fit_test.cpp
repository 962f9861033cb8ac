// The sine fit against the Cramér-Rao bounds and against constructed signals.
#include "analysis/signal/harmonic_fit.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <random>

#include "analysis/units.h"

using namespace assay::analysis;

namespace {

std::vector<double> harmonic_signal(std::size_t count, double cycles_per_sample,
                                    const std::vector<double>& amplitudes, double phase, double dc) {
    std::vector<double> signal(count, dc);
    const double centre = 0.5 * static_cast<double>(count - 1);
    for (std::size_t n = 0; n < count; ++n) {
        for (std::size_t k = 0; k < amplitudes.size(); ++k) {
            signal[n] += amplitudes[k] *
                         std::cos(static_cast<double>(k + 1) *
                                  (two_pi * cycles_per_sample * (static_cast<double>(n) - centre) + phase));
        }
    }
    return signal;
}

double rms_thd_db(const HarmonicFit& fit) {
    double square = 0.0;
    for (std::size_t k = 1; k < fit.phasors.size(); ++k) square += std::norm(fit.phasors[k]);
    return 10.0 * std::log10(square) - 20.0 * std::log10(fit.amplitude());
}

}  // namespace

// reference: P. Händel, IEEE Trans. Instrum. Meas. 49(6), 1189-1193 (2000), and the bounds var A = 2 s^2/N,
// var w = 24 s^2/(A^2 N (N^2-1)), var phi at the record's centre = 2 s^2/(A^2 N) for a sine of unknown
// frequency.
TEST(HarmonicFit, varianceIsWithin1_1OfTheCramerRaoBound) {
    constexpr int trials = 5000;
    constexpr std::size_t count = 1000;
    constexpr double sigma = 1e-3;
    constexpr double amplitude = 1.0;
    constexpr double cycles_per_sample = 0.0523;
    std::mt19937_64 random(20240501);
    std::normal_distribution<double> noise(0.0, sigma);
    double amplitude_square = 0.0;
    double phase_square = 0.0;
    double omega_square = 0.0;
    for (int trial = 0; trial < trials; ++trial) {
        std::vector<double> signal = harmonic_signal(count, cycles_per_sample, {amplitude}, 0.3, 0.0);
        for (double& value : signal) value += noise(random);
        const HarmonicFit fit = fit_harmonics(signal, 1.0, cycles_per_sample * 1.0003, {.harmonics = 1});
        amplitude_square += std::pow(fit.amplitude() - amplitude, 2);
        phase_square += std::pow(std::remainder(std::arg(fit.phasors[0]) - 0.3, two_pi), 2);
        omega_square += std::pow(two_pi * (fit.frequency_hz - cycles_per_sample), 2);
    }
    const double n = count;
    const double amplitude_ratio = amplitude_square / trials / (2.0 * sigma * sigma / n);
    const double phase_ratio = phase_square / trials / (2.0 * sigma * sigma / n);
    const double omega_ratio = omega_square / trials / (24.0 * sigma * sigma / (n * (n * n - 1.0)));
    std::printf("variance over Cramer-Rao bound, %d trials: amplitude %.3f, phase %.3f, frequency %.3f\n",
                trials, amplitude_ratio, phase_ratio, omega_ratio);
    // 5000 trials scatter by 2 % (one standard deviation of a variance): 1.1 is five of them away from 1.
    EXPECT_LT(amplitude_ratio, 1.1);
    EXPECT_LT(phase_ratio, 1.1);
    EXPECT_LT(omega_ratio, 1.1);
    EXPECT_GT(amplitude_ratio, 0.9);
}

TEST(HarmonicFit, biasIsBelow1PpmFromTenCycles) {
    double worst_amplitude = 0.0;
    double worst_frequency = 0.0;
    for (int k = 0; k < 50; ++k) {
        const double cycles = 10.0 + 0.37 * k;
        constexpr std::size_t count = 960;
        const double frequency = cycles / count;
        const auto signal = harmonic_signal(count, frequency, {1.0, 0.02, 0.05, 0.0, 0.01}, 0.1 * k, 0.2);
        const HarmonicFit fit =
            fit_harmonics(signal, 1.0, frequency * (1.0 + 2e-3), {.harmonics = 5, .iterations = 12});
        worst_amplitude = std::max(worst_amplitude, std::abs(fit.amplitude() - 1.0));
        worst_frequency = std::max(worst_frequency, std::abs(fit.frequency_hz / frequency - 1.0));
    }
    std::printf("bias from 10 to 28 cycles with harmonics: amplitude %.2e, frequency %.2e\n", worst_amplitude,
                worst_frequency);
    EXPECT_LT(worst_amplitude, 1e-6);
    EXPECT_LT(worst_frequency, 1e-6);
}

TEST(HarmonicFit, findsThdOfMinus100AndMinus120Db) {
    // One second at 96 kHz, 24-bit rounding and converter noise of -115 dBFS (RMS re full scale).
    std::mt19937_64 random(7);
    std::normal_distribution<double> noise(0.0, std::pow(10.0, -115.0 / 20.0));
    for (const auto& [level_db, tolerance_db] : {std::pair{-100.0, 0.3}, std::pair{-120.0, 0.5}}) {
        const double h = 0.8 * std::pow(10.0, level_db / 20.0) / std::numbers::sqrt2;
        auto signal = harmonic_signal(96000, 997.0 / 96000.0, {0.8, h, h}, 0.7, 0.01);
        for (double& value : signal) value = std::nearbyint((value + noise(random)) * 8388608.0) / 8388608.0;
        const HarmonicFit fit = fit_harmonics(signal, 96000.0, 997.0003, {.harmonics = 3});
        std::printf("THD of %.0f dB reads %.3f dB\n", level_db, rms_thd_db(fit));
        EXPECT_NEAR(rms_thd_db(fit), level_db, tolerance_db);
    }
}

/// Outside: Eigen's QR of the explicit design matrix at the same, fixed frequency.
static void expect_least_squares(std::size_t count, double cycles_per_sample, int harmonics = 4) {
    const auto rows = static_cast<Eigen::Index>(count);
    std::mt19937_64 random(3);
    std::normal_distribution<double> noise(0.0, 0.3);
    const double omega = two_pi * cycles_per_sample;
    Eigen::VectorXd y(rows);
    Eigen::MatrixXd design(rows, 2 * harmonics + 1);
    std::vector<double> signal(count);
    for (std::size_t n = 0; n < count; ++n) {
        signal[n] = noise(random) + std::sin(omega * static_cast<double>(n));
        const auto row = static_cast<Eigen::Index>(n);
        y(row) = signal[n];
        design(row, 0) = 1.0;
        for (int k = 1; k <= harmonics; ++k) {
            const double angle = k * omega * (static_cast<double>(n) - 0.5 * static_cast<double>(count - 1));
            design(row, 2 * k - 1) = std::cos(angle);
            design(row, 2 * k) = std::sin(angle);
        }
    }
    const Eigen::VectorXd solution = design.colPivHouseholderQr().solve(y);
    const HarmonicFit fit = fit_harmonics(signal, 1.0, cycles_per_sample,
                                          {.harmonics = harmonics, .iterations = 0, .with_drift = false});
    EXPECT_NEAR(fit.dc, solution(0), 1e-12);
    for (int k = 1; k <= harmonics; ++k) {
        EXPECT_NEAR(fit.phasors[static_cast<std::size_t>(k - 1)].real(), solution(2 * k - 1), 1e-12);
        EXPECT_NEAR(fit.phasors[static_cast<std::size_t>(k - 1)].imag(), -solution(2 * k), 1e-12);
    }
    const Eigen::VectorXd left = y - design * solution;
    for (std::size_t n = 0; n < count; ++n)
        ASSERT_NEAR(fit.residual[n], left(static_cast<Eigen::Index>(n)), 1e-12);
}

TEST(HarmonicFit, equalsAnOrdinaryLeastSquaresSolution) {
    expect_least_squares(777, 0.0371);
    expect_least_squares(778, 0.0371);
}

// Sums of orders pass the rate there: the closed sums of an even count change their sign with each turn.
TEST(HarmonicFit, equalsItUpToHalfTheRate) {
    expect_least_squares(777, 0.1207);
    expect_least_squares(778, 0.1207);
    expect_least_squares(778, 0.12495);  // the 4th order a sixth of a cycle of the record below half the rate
}

// So many are solved by conjugate gradients, and by factors where a fraction of a cycle too few makes that
// hard.
TEST(HarmonicFit, equalsItWithAHundredHarmonics) {
    expect_least_squares(2001, 0.0041, 100);
    expect_least_squares(500, 0.0041, 100);
}

TEST(HarmonicFit, readsASineAbove0_25OfTheRateExactly) {
    for (const std::size_t count : {959U, 960U}) {
        const auto signal = harmonic_signal(count, 0.4123, {1.0}, 0.4, 0.0);
        const HarmonicFit fit = fit_harmonics(signal, 1.0, 0.41231, {.harmonics = 1, .iterations = 8});
        EXPECT_NEAR(fit.amplitude(), 1.0, 1e-9) << count;
        EXPECT_NEAR(fit.frequency_hz, 0.4123, 1e-12) << count;
    }
}

TEST(StrongestLine, beyondHalfTheRateThereIsNone) {
    const auto signal = harmonic_signal(960, 0.1, {1.0}, 0.0, 0.0);
    EXPECT_NEAR(strongest_line_hz(signal, 48000.0, 1000.0, 20000.0), 4800.0, 5.0);
    EXPECT_EQ(strongest_line_hz(signal, 48000.0, 30000.0, 40000.0), 30000.0);
    EXPECT_EQ(strongest_line_hz({}, 48000.0, 1000.0, 20000.0), 1000.0);
}

TEST(HarmonicFit, followsASlowDriftOfTheAmplitude) {
    constexpr std::size_t count = 9600;
    auto signal = harmonic_signal(count, 0.0103, {1.0, 0.01}, 0.0, 0.0);
    for (std::size_t n = 0; n < count; ++n)
        signal[n] *= 1.0 + 0.02 * (static_cast<double>(n) / (count - 1) - 0.5);
    const HarmonicFit fit = fit_harmonics(signal, 1.0, 0.0103, {.harmonics = 2});
    EXPECT_NEAR(fit.drift_per_record, 0.02, 1e-5);
    EXPECT_NEAR(fit.amplitude(), 1.0, 1e-5);
}
