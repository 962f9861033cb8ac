// Transforms against the closed forms of the discrete Fourier transform.
#include "analysis/signal/fft.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace assay::analysis {
namespace {

/// cos(2 pi 7 j / n + 0.3): n/2 e^(0.3 i) in bin 7, nothing elsewhere.
std::vector<double> cosine(std::size_t n) {
    std::vector<double> signal(n);
    for (std::size_t j = 0; j < n; ++j)
        signal[j] =
            std::cos(2.0 * std::numbers::pi * 7.0 * static_cast<double>(j) / static_cast<double>(n) + 0.3);
    return signal;
}

TEST(Fft, ACosineIsOneBin) {
    for (const std::size_t n : {32U, 90U, 250U, 1620U, 4096U, 22500U, 97200U}) {
        const auto bins = real_spectrum(cosine(n), n);
        ASSERT_EQ(bins.size(), n / 2 + 1);
        for (std::size_t k = 0; k < bins.size(); ++k) {
            const auto expected =
                k == 7 ? std::polar(0.5 * static_cast<double>(n), 0.3) : std::complex<double>{};
            EXPECT_NEAR(std::abs(bins[k] - expected), 0.0, 1e-12 * static_cast<double>(n)) << n << ' ' << k;
        }
    }
}

TEST(Fft, OneBinIsACosine) {
    for (const std::size_t n : {32U, 90U, 250U}) {
        std::vector<std::complex<double>> bins(n / 2 + 1);
        bins[7] = std::polar(0.5, 0.3);
        const auto signal = real_signal(bins);
        const auto expected = cosine(n);
        for (std::size_t j = 0; j < n; ++j) EXPECT_NEAR(signal[j], expected[j], 1e-13) << n << ' ' << j;
    }
}

// From a thousand points on several transforms go side by side: lengths whose halves split evenly, unevenly,
// and into each of the factors. A shift by one sample tells every bin's place: it turns bin k by k / n of a
// turn and does nothing else (closed form).
TEST(Fft, LongOnesTurnByTheShift) {
    std::mt19937 random(4);
    std::normal_distribution<double> normal;
    for (const std::size_t n : {2048U, 2250U, 4374U, 6250U, 22500U, 65536U, 97200U}) {
        std::vector<double> signal(n);
        for (double& sample : signal) sample = normal(random);
        std::vector<double> shifted(signal);
        std::rotate(shifted.begin(), shifted.end() - 1, shifted.end());
        const auto bins = real_spectrum(signal, n);
        const auto turned = real_spectrum(shifted, n);
        double energy = 0.0;
        for (const double sample : signal) energy += sample * sample;
        double sum = 0.0;  // of all bins, both sides: Parseval
        for (std::size_t k = 0; k < bins.size(); ++k) {
            const double turn = -2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n);
            ASSERT_NEAR(std::abs(turned[k] - bins[k] * std::polar(1.0, turn)), 0.0,
                        1e-13 * std::sqrt(static_cast<double>(n)) * 16.0)
                << n << ' ' << k;
            sum += (k == 0 || k + 1 == bins.size() ? 1.0 : 2.0) * std::norm(bins[k]);
        }
        EXPECT_NEAR(sum / (static_cast<double>(n) * energy), 1.0, 1e-12) << n;
        const auto back = real_signal(bins);
        for (std::size_t j = 0; j < n; ++j)
            ASSERT_NEAR(back[j] / static_cast<double>(n), signal[j], 1e-13 * 8.0) << n << ' ' << j;
    }
}

// Constant and alternating parts lie in the bins that are packed together; a thousand lengths are more than
// the plans that are kept.
TEST(Fft, ThereAndBackAtManyLengths) {
    std::mt19937 random(3);
    std::normal_distribution<double> normal;
    for (std::size_t wanted = 2; wanted < 4000; wanted += 4) {
        const std::size_t n = good_fft_length(wanted);
        std::vector<double> signal(n);
        for (double& sample : signal) sample = 1.0 + normal(random);
        const auto back = real_signal(real_spectrum(signal, n));
        for (std::size_t j = 0; j < n; ++j)
            ASSERT_NEAR(back[j] / static_cast<double>(n), signal[j], 1e-12) << n << ' ' << j;
    }
}

}  // namespace
}  // namespace assay::analysis
