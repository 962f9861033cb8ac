// The quasi-peak detector against the tables of ITU-R BS.468-4: what tone bursts of 5 kHz must read, as per
// cent of the steady tone, with their permitted limits (readings as in reference tables of this project, from
// memory of the Recommendation: single bursts, and bursts of 5 ms repeated), and the response at steady
// tones.
#include "analysis/signal/quasi_peak.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "analysis/signal/weighting.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

struct Row {
    double ms = 0.0;
    double a_second = 0.0;  // 0: a single burst
    double percent = 0.0;
    double least = 0.0;
    double most = 0.0;
};

constexpr Row rows[] = {
    {1, 0, 17.0, 13.5, 21.4}, {2, 0, 26.6, 22.4, 31.6}, {5, 0, 40, 34, 46},    {10, 0, 48, 41, 55},
    {20, 0, 52, 44, 60},      {50, 0, 59, 50, 68},      {100, 0, 68, 58, 78},  {200, 0, 80, 68, 92},
    {5, 2, 48, 43, 53},       {5, 10, 77, 72, 82},      {5, 100, 97, 94, 100},
};

std::vector<double> bursts(double rate_hz, double ms, double a_second, double phase) {
    const double length_s = a_second > 0.0 ? 5.0 : 2.5;
    std::vector<double> volts(static_cast<std::size_t>(length_s * rate_hz));
    for (std::size_t n = 0; n < volts.size(); ++n) {
        const double s = static_cast<double>(n) / rate_hz;
        // A single one begins after the second that settling takes.
        const double within = a_second > 0.0 ? std::fmod(s, 1.0 / a_second) : s - 1.5;
        if (within >= 0.0 && within < 1e-3 * ms) volts[n] = std::sin(two_pi * 5000.0 * within + phase);
    }
    return volts;
}

std::vector<double> steady(double rate_hz, double hz, double seconds = 6.0) {
    std::vector<double> volts(static_cast<std::size_t>(seconds * rate_hz));
    for (std::size_t n = 0; n < volts.size(); ++n)
        volts[n] = std::sin(two_pi * hz * static_cast<double>(n) / rate_hz);
    return volts;
}

QuasiPeakReading read(double rate_hz, const std::vector<double>& volts, std::size_t piece = 1000) {
    QuasiPeak meter(rate_hz);
    const std::span<const double> all(volts);
    for (std::size_t first = 0; first < all.size(); first += piece)
        meter.feed(all.subspan(first, std::min(piece, all.size() - first)));
    return meter.finish();
}

TEST(QuasiPeak, EveryPointOfTheBurstTables) {
    for (const double rate_hz : {44100.0, 48000.0, 96000.0, 192000.0}) {
        const double whole = read(rate_hz, steady(rate_hz, 5000.0)).highest_v;
        for (const Row& row : rows) {
            // It must not matter where in a cycle a burst begins.
            for (const double phase : {0.0, 0.5 * std::numbers::pi}) {
                const double percent =
                    100.0 * read(rate_hz, bursts(rate_hz, row.ms, row.a_second, phase)).highest_v / whole;
                EXPECT_GE(percent, row.least) << row.ms << " ms, " << row.a_second << "/s, " << rate_hz;
                EXPECT_LE(percent, row.most) << row.ms << " ms, " << row.a_second << "/s, " << rate_hz;
                // Far inside the limits: a tenth of the reading.
                EXPECT_NEAR(percent / row.percent, 1.0, 0.1) << row.ms << " ms, " << rate_hz;
                if (rate_hz == 48000.0 && phase == 0.0)
                    std::printf("%4.0f ms %3.0f/s: %.1f %%, table %.1f (%.1f to %.1f)\n", row.ms,
                                row.a_second, percent, row.percent, row.least, row.most);
            }
        }
    }
}

// Table 1: a steady sine reads its RMS times the network; 1 kHz its RMS.
TEST(QuasiPeak, SteadyTonesReadTheNetwork) {
    for (const double rate_hz : {44100.0, 96000.0}) {
        for (const auto& [hz, db, limit_db] :
             {std::array{1000.0, 0.0, 0.02}, std::array{100.0, -19.8, 0.1}, std::array{6300.0, 12.2, 0.1},
              std::array{10000.0, 8.1, 0.1}, std::array{16000.0, -11.7, 0.1}}) {
            const double found =
                20.0 * std::log10(read(rate_hz, steady(rate_hz, hz)).typical_v * std::numbers::sqrt2);
            EXPECT_NEAR(found, db, limit_db) << hz << " Hz at " << rate_hz;
        }
    }
}

TEST(QuasiPeak, PiecesOfAnyLengthReadTheSame) {
    const auto volts = bursts(48000.0, 20.0, 3.0, 0.0);
    const auto one = read(48000.0, volts, volts.size());
    for (const std::size_t piece : {1UL, 7UL, 4096UL, 100000UL}) {
        EXPECT_EQ(read(48000.0, volts, piece).highest_v, one.highest_v) << piece;
        EXPECT_EQ(read(48000.0, volts, piece).typical_v, one.typical_v) << piece;
    }
}

// The network is causal and stable: its response has no energy ahead of time. Checked by the sign of the
// polynomial's group delay at low frequencies, positive for poles in the left half-plane.
TEST(QuasiPeak, NetworkIsLateAndNotEarly) {
    const double delay_s =
        -(std::arg(itu_468_response(1010.0)) - std::arg(itu_468_response(1000.0))) / (two_pi * 10.0);
    EXPECT_GT(delay_s, 0.0);
    EXPECT_LT(delay_s, 1e-3);
}

}  // namespace
}  // namespace assay::analysis
