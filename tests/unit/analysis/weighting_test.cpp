// Weighting curves against published tables.
#include "analysis/signal/weighting.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

namespace assay::analysis {
namespace {

// IEC 61672-1, design goals at the exact third-octave frequencies 1000 * 10^(n/10) Hz, from 12.5 Hz on as a
// general-purpose acoustics library quotes them; the row of 10 Hz from memory. Rounded to 0.1 dB.
TEST(Weighting, AMeetsTheTableOfTheStandard) {
    constexpr std::array table{-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2,
                               -22.5, -19.1, -16.1, -13.4, -10.9, -8.6,  -6.6,  -4.8,  -3.2,
                               -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,   1.2,   1.0,
                               0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
    for (std::size_t i = 0; i < table.size(); ++i) {
        const double frequency_hz = 1000.0 * std::pow(10.0, (static_cast<double>(i) - 20.0) / 10.0);
        EXPECT_NEAR(a_weighting_db(frequency_hz), table[i], 0.0501) << frequency_hz << " Hz";
    }
}

// Rec. ITU-R BS.468-4, table 1: response of the network, rounded to 0.1 dB; the rational form of it that is
// in use stays within 0.05 dB of the table.
TEST(Weighting, Itu468MeetsItsTable) {
    constexpr std::array<std::pair<double, double>, 21> table{
        {{31.5, -29.9},  {63, -23.9},    {100, -19.8},  {200, -13.8}, {400, -7.8},  {800, -1.9},
         {1000, 0.0},    {2000, 5.6},    {3150, 9.0},   {4000, 10.5}, {5000, 11.7}, {6300, 12.2},
         {7100, 12.0},   {8000, 11.4},   {9000, 10.1},  {10000, 8.1}, {12500, 0.0}, {14000, -5.3},
         {16000, -11.7}, {20000, -22.2}, {31500, -42.7}}};
    for (const auto& [frequency_hz, response_db] : table)
        EXPECT_NEAR(itu_468_weighting_db(frequency_hz), response_db, 0.051) << frequency_hz << " Hz";
}

}  // namespace
}  // namespace assay::analysis
