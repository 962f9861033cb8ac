// The sweep taken apart, against closed forms.
#include "analysis/signal/sweep_response.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <random>
#include <utility>

#include "analysis/amplifier/response_limits.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

constexpr double sweep_rate_hz = 48000.0;
constexpr double growth_s = 1.4;  // as the measure plays it

SweepPlan plan() {
    SweepPlan plan;
    plan.growth_s = growth_s;
    plan.from_hz = 5.0;
    plan.to_hz = 22000.0;
    plan.start_hz = 10.0;
    plan.stop_hz = 20000.0;
    plan.duration_s = growth_s * std::log(plan.to_hz / plan.from_hz);
    plan.at = [duration = plan.duration_s](double s) {
        const double edge = std::min({s, duration - s, 0.02}) / 0.02;
        return std::sin(two_pi * 5.0 * growth_s * std::exp(s / growth_s)) *
               (0.5 - 0.5 * std::cos(std::numbers::pi * edge));
    };
    return plan;
}

std::vector<double> record(double start_s, double (*law)(double)) {
    const SweepPlan sweep = plan();
    std::vector<double> samples(static_cast<std::size_t>((sweep.duration_s + start_s + 1.0) * sweep_rate_hz));
    for (std::size_t n = 0; n < samples.size(); ++n) {
        const double s = static_cast<double>(n) / sweep_rate_hz - start_s;
        if (s >= 0.0 && s <= sweep.duration_s) samples[n] = law(sweep.at(s));
    }
    return samples;
}

// Identity: gain one, phase zero, wherever between two samples the sweep starts.
TEST(SweepResponse, AWireIsAWire) {
    const double start_s = 0.1234567;
    const auto response =
        respond(record(start_s, [](double x) { return x; }), sweep_rate_hz, start_s, plan());
    for (const double hz : log_frequencies(20.0, 20000.0, 6)) {
        EXPECT_NEAR(std::abs(response.at(hz, 1)), 1.0, 1e-4) << hz;
        EXPECT_NEAR(std::arg(response.at(hz, 1)), 0.0, 1e-4) << hz;
    }
}

// x + a x^2 + b x^3 on a sine of amplitude 1: H2 = a / 2, H3 = b / 4, H1 = 1 + 3 b / 4; b^2 and a phases by
// sin^2 = (1 - cos 2p) / 2, sin^3 = (3 sin p - sin 3p) / 4 (elementary trigonometry).
TEST(SweepResponse, HarmonicsOfAPolynomialWithTheirPhases) {
    const double start_s = 0.05;
    const auto response =
        respond(record(start_s, [](double x) { return x + 0.02 * x * x + 0.01 * x * x * x; }), sweep_rate_hz,
                start_s, plan());
    for (const double hz : {50.0, 200.0, 1000.0, 4000.0}) {
        EXPECT_NEAR(std::abs(response.at(hz, 1)), 1.0075, 3e-4) << hz;
        EXPECT_NEAR(20.0 * std::log10(std::abs(response.at(2.0 * hz, 2)) / 0.01), 0.0, 0.05) << hz;
        EXPECT_NEAR(20.0 * std::log10(std::abs(response.at(3.0 * hz, 3)) / 0.0025), 0.0, 0.05) << hz;
        // -cos 2p lags sin 2p by a quarter turn; -sin 3p is sin 3p turned by half.
        EXPECT_NEAR(std::arg(response.at(2.0 * hz, 2)), -std::numbers::pi / 2.0, 0.01) << hz;
        EXPECT_NEAR(std::abs(std::arg(response.at(3.0 * hz, 3))), std::numbers::pi, 0.01) << hz;
    }
}

// The same x^2, H2 = a / 2, 126 dB below the linear response: what few samples a second leave of its
// neighbour in time must lie deeper still. Beside it the same from all samples.
TEST(SweepResponse, FaintHarmonicsAreSeenAtTheLowRateToo) {
    const double start_s = 0.05;
    auto response =
        respond(record(start_s, [](double x) { return x + 1e-6 * x * x; }), sweep_rate_hz, start_s, plan());
    ASSERT_GT(response.low_rate_hz, 0.0);
    for (const double hz : {60.0, 140.0, 160.0, 400.0, 1000.0, 1490.0, 1510.0}) {
        const double low_db = 20.0 * std::log10(std::abs(response.at(hz, 2)) / 5e-7);
        auto whole = response;
        whole.low_rate_hz = 0.0;
        whole.known.clear();
        const double whole_db = 20.0 * std::log10(std::abs(whole.at(hz, 2)) / 5e-7);
        std::printf("second harmonic at %.0f Hz off by %.4f dB, from all samples by %.4f dB\n", hz, low_db,
                    whole_db);
        EXPECT_NEAR(low_db, whole_db, 1e-3) << hz;
        // Below, the linear response leaks through the long windows that low frequencies have, whatever the
        // rate.
        if (hz > 150.0) {
            EXPECT_NEAR(low_db, 0.0, 0.05) << hz;
        }
    }
}

// First-order band limits, textbook: |H|^2 = 1 / (1 + (f1/f)^2) / (1 + (f/f2)^2).
TEST(ResponseLimits, FirstOrderCorners) {
    const std::vector<double> hz = log_frequencies(2.0, 80000.0, 48);
    std::vector<double> db;
    db.reserve(hz.size());
    for (const double f : hz)
        db.push_back(-10.0 * std::log10((1.0 + std::pow(30.0 / f, 2)) * (1.0 + std::pow(f / 18000.0, 2))));
    const double at_1khz = 1.0 + std::pow(30.0 / 1000.0, 2) + std::pow(1000.0 / 18000.0, 2);
    const double power = at_1khz * std::pow(10.0, 0.3);
    EXPECT_NEAR(lower_limit(hz, db, 1000.0, 3.0)->frequency_hz, 30.0 / std::sqrt(power - 1.0), 0.01);
    EXPECT_NEAR(upper_limit(hz, db, 1000.0, 3.0)->frequency_hz, 18000.0 * std::sqrt(power - 1.0), 10.0);
    EXPECT_FALSE(lower_limit(hz, db, 1000.0, 40.0));
}

TEST(ResponseLimits, DelayAndPolarityAreTakenOut) {
    const std::vector<double> hz = log_frequencies(10.0, 20000.0, 48);
    std::vector<double> deg;
    deg.reserve(hz.size());
    for (const double f : hz) deg.push_back(std::remainder(180.0 - 360.0 * f * 2e-4, 360.0));
    EXPECT_NEAR(remove_delay(hz, deg, 1000.0), 2e-4, 1e-9);
    for (const double phase : deg) EXPECT_NEAR(phase, 0.0, 1e-6);
}

// The check case of 10 Hz to 22 kHz in 6 s at 48 kHz: harmonic n arrives growth ln n ahead of the linear
// response (Novak, Lotton, Simon, 2015), 0.540380480 s and so on for growth 0.779604239 s. Worked out apart
// from the program.
TEST(SweepResponse, HarmonicsArriveWhenTheyShould) {
    SweepPlan sweep = plan();
    sweep.from_hz = 10.0;
    sweep.to_hz = 22000.0;
    sweep.start_hz = 20.0;
    sweep.duration_s = 6.0;
    sweep.growth_s = 0.779604239;
    ASSERT_NEAR(sweep.growth_s, sweep.duration_s / std::log(sweep.to_hz / sweep.from_hz), 1e-9);
    const auto phase = [growth = sweep.growth_s](double s) {
        return two_pi * 10.0 * growth * std::exp(s / growth);
    };
    const auto edge = [](double s) {
        return 0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(std::min(s, 6.0 - s) / 0.02, 0.0, 1.0));
    };
    sweep.at = [phase, edge](double s) { return std::sin(phase(s)) * edge(s); };
    for (const auto& [order, ahead_s] : {std::pair{2, 0.540380480}, std::pair{3, 0.856482798},
                                         std::pair{4, 1.080760961}, std::pair{5, 1.254724619}}) {
        const double start_s = 0.25;
        std::vector<double> samples(static_cast<std::size_t>(7.0 * sweep_rate_hz));
        for (std::size_t n = 0; n < samples.size(); ++n) {
            const double s = static_cast<double>(n) / sweep_rate_hz - start_s;
            // Up to where the harmonic itself leaves the band.
            if (s < 0.0 || s > 6.0 || 10.0 * order * std::exp(s / sweep.growth_s) > 21000.0) continue;
            samples[n] = std::sin(order * phase(s)) * edge(s);
        }
        const auto response = respond(samples, sweep_rate_hz, start_s, sweep);
        std::size_t highest = 0;
        for (std::size_t n = 0; n < response.impulse.size(); ++n) {
            if (std::abs(response.impulse[n]) > std::abs(response.impulse[highest])) highest = n;
        }
        const double found_s = static_cast<double>(response.impulse.size() - highest) / sweep_rate_hz;
        EXPECT_NEAR(found_s, ahead_s, 1.0 / sweep_rate_hz) << order;
    }
}

// White noise of sigma over all frequencies, divided by a sweep whose energy at f is growth / (4 f)
// (stationary phase), and heard through a window of energy w: each quadrature scatters by sigma * sqrt(2 f w
// / (rate * growth)). The windows are the estimator's own: raised cosines over the outer halves of 0.45 and
// 0.95 s, 0.08 and 0.3 s, 0.015 and 0.08 s.
TEST(SweepResponse, NoiseIsWhatWhiteNoiseMakesOfIt) {
    constexpr double sigma = 1e-3;
    const double start_s = 0.05;
    std::vector<double> samples = record(start_s, [](double x) { return x; });
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal(0.0, sigma);
    for (double& sample : samples) sample += normal(random);
    const auto response = respond(samples, sweep_rate_hz, start_s, plan());
    const auto mean_re_closed_form = [&](double from_hz, double to_hz, double window_s) {
        double sum = 0.0;
        const auto points = log_frequencies(from_hz, to_hz, 12);
        for (const double hz : points) {
            const double closed_form =
                sigma * std::sqrt(2.0 * hz * 0.6875 * window_s / (sweep_rate_hz * growth_s));
            sum += response.noise_at(hz, 1) / closed_form / static_cast<double>(points.size());
        }
        return sum;
    };
    // Some two hundred windows each, of two quadratures: good to 4 %, at the low end with fewer to 8 %.
    EXPECT_NEAR(mean_re_closed_form(20.0, 120.0, 1.4), 1.0, 0.16);
    EXPECT_NEAR(mean_re_closed_form(200.0, 1200.0, 0.38), 1.0, 0.08);
    EXPECT_NEAR(mean_re_closed_form(2000.0, 18000.0, 0.095), 1.0, 0.08);
}

}  // namespace
}  // namespace assay::analysis
