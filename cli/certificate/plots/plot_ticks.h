// Ticks and ends of axes as people write them: 20, 50, 100, 1k.
#pragma once

#include <string>

namespace assay::cli {

/// A number on an axis: "50", "1k", "0.02".
std::string tick_text(double value);

/// gnuplot's list of ticks at 1, 2, 5 of each decade; decades alone where these would be too many, also the
/// numbers between where they would be too few. `bare`: without their texts.
std::string logarithmic_ticks(double from, double to, bool bare = false);

/// Step of 1, 2 or 5 times a power of ten that divides the range into three to eight parts.
double linear_step(double from, double to);

/// The nearest power of ten that is not above (or not below) the value, give or take a hair.
double decade_below(double value);
double decade_above(double value);

/// The nearest number of the series 1, 2, 5 that is not above (or not below) the value.
double series_below(double value);
double series_above(double value);

/// Ends of a frequency axis: those of the curve, moved out to 10, 20, 50 ... where one is near.
double frequency_from(double lowest_hz);
double frequency_to(double highest_hz);

}  // namespace assay::cli
