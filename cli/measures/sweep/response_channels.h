// What a sweep says of polarity, and of channels beside each other.
#pragma once

#include <complex>
#include <functional>
#include <string>

#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

/// The band of hearing, by which a response is judged.
inline constexpr double audio_from_hz = 20.0;
inline constexpr double audio_to_hz = 20000.0;
/// Points of a response's curve.
inline constexpr int points_per_octave = 48;

/// Why nothing is said of 20 Hz to 20 kHz.
analysis::Absent band_too_narrow(double from_hz, double to_hz);

/// "upright", "inverted", or why it is not told, of a gain whose chain's polarity is known.
std::string polarity_words(const ResponseReading& reading,
                           const std::function<std::complex<double>(double)>& gain);

/// Balance at 1 kHz and at its worst, and how the channels turn the wave; nothing for one load.
void add_swept_channels(const Setup& setup, const ResponseReading& reading, TestResult& result);

}  // namespace assay::cli
