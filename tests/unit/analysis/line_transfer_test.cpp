// The ratio of two voltages at many lines, and breaks in a multitone, on signals made here.
#include "analysis/driver/line_transfer.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "analysis/signal/delay_track.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

using Complex = std::complex<double>;

constexpr double transfer_rate_hz = 8000.0;
constexpr double transfer_seconds = 20.0;

/// 30 Hz to 3 kHz on odd multiples of 0.2 Hz.
std::vector<double> some_lines() {
    std::vector<double> lines;
    double last = 0.0;
    for (int odd = 151; odd * 0.2 < 3000.0; odd += 2) {
        const double f = odd * 0.2;
        if (f < last * std::exp2(1.0 / 24.0)) continue;
        lines.push_back(f);
        last = f;
    }
    return lines;
}

/// First-order low-pass at 200 Hz.
Complex response(double f) {
    return 0.7 / Complex(1.0, f / 200.0);
}

struct Pair {
    std::vector<double> generator{};
    std::vector<double> driver{};
};

class Noise {
  public:
    double operator()() { return std::sqrt(-2.0 * std::log(uniform())) * std::cos(two_pi * uniform()); }

  private:
    double uniform() {
        state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
        return (static_cast<double>(state_ >> 11U) + 0.5) / 9007199254740992.0;
    }
    std::uint64_t state_ = 99;
};

/// Sines of 0.01 V peak as a recorder of the given clock counts them.
Pair play(double clock_ratio, double noise_v, double dc_v = 0.0) {
    const auto count = static_cast<std::size_t>(transfer_seconds * transfer_rate_hz);
    Pair pair{std::vector<double>(count, dc_v), std::vector<double>(count, -dc_v)};
    for (const double f : some_lines()) {
        const double step = two_pi * f / clock_ratio / transfer_rate_hz;
        const Complex h = response(f);
        const double phase = 0.001 * f * f;  // far from aligned
        for (std::size_t n = 0; n < count; ++n) {
            const double angle = step * static_cast<double>(n) + phase;
            pair.generator[n] += 0.01 * std::cos(angle);
            pair.driver[n] += 0.01 * (h.real() * std::cos(angle) - h.imag() * std::sin(angle));
        }
    }
    Noise noise;
    for (std::size_t n = 0; n < count; ++n) {
        pair.generator[n] += noise_v * noise();
        pair.driver[n] += noise_v * noise();
    }
    return pair;
}

std::vector<float> floats(const std::vector<double>& values) {
    return {values.begin(), values.end()};
}

LineTransfer transfer_of(const std::vector<double>& generator, const std::vector<double>& driver,
                         const std::vector<double>& lines_hz, double clock_ratio) {
    const std::vector<float> generator_samples = floats(generator);
    const std::vector<float> driver_samples = floats(driver);
    return transfer_of_lines({generator_samples, transfer_rate_hz}, {driver_samples, transfer_rate_hz},
                             lines_hz, clock_ratio);
}

TEST(LineTransfer, CleanLinesComeBackExact) {
    const Pair pair = play(1.0, 0.0, 0.3);
    const LineTransfer transfer = transfer_of(pair.generator, pair.driver, some_lines(), 1.0);
    double worst = 0.0;
    for (const TransferLine& line : transfer.lines) {
        EXPECT_EQ(line.state, LineState::sound);
        worst = std::max(worst, std::abs(line.ratio / response(line.frequency_hz) - 1.0));
        EXPECT_NEAR(line.generator_v, 0.01 / std::numbers::sqrt2, 1e-6);
    }
    RecordProperty("worst", std::to_string(worst));
    EXPECT_LT(worst, 1e-5);  // the window's side lobes, -92 dB
}

// The clock's ratio is given wrong by 1 ppm: the lines move by up to 0.06 bins.
TEST(LineTransfer, SmallErrorOfTheClockDoesNothing) {
    const Pair pair = play(1.0 + 300e-6, 0.0);
    const LineTransfer transfer = transfer_of(pair.generator, pair.driver, some_lines(), 1.0 + 301e-6);
    for (const TransferLine& line : transfer.lines)
        EXPECT_NEAR(std::abs(line.ratio / response(line.frequency_hz) - 1.0), 0.0, 1e-5);
}

// White noise of sigma in both: the estimate's variance cannot be below the Cramer-Rao bound of a sine's
// complex amplitude, sigma^2 2 / N a part for the driver's amplitude, plus |h|^2 times as much for the
// generator's, over A^2; the window costs a factor n sum w^4 / (sum w^2)^2 = 2.3 (Blackman-Harris, by its
// coefficients).
TEST(LineTransfer, StatedVarianceIsTheRealOneAndNearTheBound) {
    const double sigma = 1e-3;
    const Pair pair = play(1.0, sigma);
    const auto lines = some_lines();
    const LineTransfer transfer = transfer_of(pair.generator, pair.driver, lines, 1.0);
    double chi = 0.0;
    double over_bound = 0.0;
    for (const TransferLine& line : transfer.lines) {
        const Complex truth = response(line.frequency_hz);
        chi += std::norm(line.ratio - truth) / (2.0 * line.variance);
        const double bound = 2.0 * sigma * sigma / (transfer_seconds * transfer_rate_hz) *
                             (1.0 + std::norm(truth)) / (0.01 * 0.01);
        over_bound += line.variance / bound;
    }
    chi /= static_cast<double>(lines.size());
    over_bound /= static_cast<double>(lines.size());
    RecordProperty("mean_square_error_over_variance", std::to_string(chi));
    RecordProperty("variance_over_bound", std::to_string(over_bound));
    // Each line gives two squares: the mean over n lines is known to 1 / sqrt(n); three times that is
    // allowed.
    EXPECT_NEAR(chi, 1.0, 3.0 / std::sqrt(static_cast<double>(lines.size())));
    // The noise's density is estimated from about 146 lines with 7 bins each: known to 3 %, three times that.
    EXPECT_NEAR(over_bound / 2.763, 1.0, 0.09);
}

TEST(LineTransfer, AWhistleOnALineIsMarkedAndNoOther) {
    Pair pair = play(1.0, 1e-4);
    const auto lines = some_lines();
    const double whistle_hz = lines[60] + 0.03;
    for (std::size_t n = 0; n < pair.driver.size(); ++n)
        pair.driver[n] += 0.002 * std::sin(two_pi * whistle_hz / transfer_rate_hz * static_cast<double>(n));
    const LineTransfer transfer = transfer_of(pair.generator, pair.driver, lines, 1.0);
    for (std::size_t k = 0; k < lines.size(); ++k)
        EXPECT_EQ(transfer.lines[k].state, k == 60 ? LineState::disturbed : LineState::sound) << lines[k];
}

TEST(LineTransfer, NoiseAloneIsWeak) {
    Noise noise;
    std::vector<double> generator(160000);
    std::vector<double> driver(160000);
    for (double& value : generator) value = noise();
    for (double& value : driver) value = noise();
    const auto lines = some_lines();
    const LineTransfer transfer = transfer_of(generator, driver, lines, 1.0);
    EXPECT_GT(transfer.count(LineState::weak), lines.size() / 2);
}

TEST(DelayTrack, ClockIsFoundAndIsNoBreak) {
    const Pair pair = play(1.0 + 200e-6, 1e-5);
    const DelayTrack track =
        track_delay(floats(pair.generator), transfer_rate_hz, some_lines(), 1.0 + 195e-6);
    ASSERT_TRUE(track.looked);
    EXPECT_TRUE(track.breaks.empty());
    EXPECT_NEAR(track.clock_ratio, 1.0 + 200e-6, 0.02e-6);
}

TEST(DelayTrack, LostAndDoubledSamplesAreMeasured) {
    const Pair pair = play(1.0, 1e-5);
    for (const int samples : {1, 64, 300}) {
        std::vector<float> lost = floats(pair.generator);
        lost.erase(lost.begin() + 71234, lost.begin() + 71234 + samples);
        std::vector<float> doubled = floats(pair.generator);
        const std::vector<float> block(doubled.begin() + 71234 - samples, doubled.begin() + 71234);
        doubled.insert(doubled.begin() + 71234, block.begin(), block.end());
        for (const bool twice : {false, true}) {
            const DelayTrack track = track_delay(twice ? doubled : lost, transfer_rate_hz, some_lines(), 1.0);
            ASSERT_EQ(track.breaks.size(), 1U) << samples << twice;
            const SteadyBreak& found = track.breaks[0];
            EXPECT_LE(found.from_s, 71234 / transfer_rate_hz);
            EXPECT_GE(found.to_s, 71234 / transfer_rate_hz);
            ASSERT_TRUE(found.jump_s.has_value());
            // In the windows that the break lies in, the phases are a mixture: a tenth of the jump, or 5 us.
            EXPECT_NEAR(*found.jump_s, (twice ? 1.0 : -1.0) * samples / transfer_rate_hz,
                        std::max(0.1 * samples / transfer_rate_hz, 5e-6));
        }
    }
}

TEST(DelayTrack, AReplacedBlockIsADisturbance) {
    const Pair pair = play(1.0, 1e-5);
    std::vector<float> stuck = floats(pair.generator);
    for (std::size_t n = 0; n < 400; ++n) stuck[90000 + n] = stuck[89600 + n];
    const DelayTrack track = track_delay(stuck, transfer_rate_hz, some_lines(), 1.0);
    ASSERT_EQ(track.breaks.size(), 1U);
    EXPECT_LE(track.breaks[0].from_s, 90000 / transfer_rate_hz);
    EXPECT_GE(track.breaks[0].to_s, 90400 / transfer_rate_hz);
}

}  // namespace
}  // namespace assay::analysis
