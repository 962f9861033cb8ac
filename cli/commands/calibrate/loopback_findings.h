// What a loopback tells of a sound card beside its distortion: its response, and whether something between
// program and converter levels, gates or changes the rate.
#pragma once

#include <string>
#include <vector>

#include "cli/measures/sweep/card_response.h"
#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

/// A clean step of the loopback.
struct LoopbackLevel {
    double played_dbfs = 0.0;
    double heard_dbfs = 0.0;  // of the tone itself, in the input's samples
    double doubt_db = 0.0;    // standard uncertainty of the latter, by noise
};

/// A cable follows dB for dB; automatic level control, noise suppression and gates do not. A fault names what
/// was heard. Mark, common practice, no source: 0.3 dB beyond the noise.
[[nodiscard]] capture::Result<void> judge_levels(const std::vector<LoopbackLevel>& levels,
                                                 const std::string& input);

/// The response re 1 kHz as the samples show it, with the day.
CardResponse card_response_of(const ResponseReading& reading, const capture::Input& input, double rate_hz,
                              const std::string& date);

/// A card that says one rate and runs at a lower common one ends where that one's band does: a fault that
/// names it. Seen where the curve goes past half of the lower rate (88.2 kHz and up).
[[nodiscard]] capture::Result<void> judge_band(const CardResponse& card);

}  // namespace assay::cli
