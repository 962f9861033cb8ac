// What a number of a bench can be at all, in the bench file as in a session that somebody else wrote.
#pragma once

namespace assay::cli {

constexpr double highest_volts = 1e5;
constexpr double highest_ohm = 1e9;
constexpr double highest_attenuation = 1e6;
constexpr double highest_channel = 256;
// Below it the 20 kHz band of the measures is cut short; above it no bench sound card goes.
constexpr double lowest_rate_hz = 8'000;
constexpr double highest_rate_hz = 768'000;
// Nothing of a 24-bit chain lies lower.
constexpr double lowest_dbfs = -200;

}  // namespace assay::cli
