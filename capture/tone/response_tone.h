// The tone of a frequency response: the coded head, a steady tone, one exponential sweep, the same steady
// tone. The two steady tones carry one phase, from which the ratio of two clocks is read to a nanosecond;
// they also show whether the level held while the sweep went by.
#pragma once

#include <string>
#include <vector>

#include "capture/tone/tone.h"

namespace assay::capture {

struct ResponseToneOptions {
    double rate_hz = 96000.0;
    double start_hz = 10.0;
    double stop_hz = 40000.0;
    std::vector<double> levels_dbfs{-20.0};  // rising; several where the one that is wanted is not known yet
    std::string code{};                      // tells this tone from those of other tests
};

/// Three segments of role step (steady, sweep, steady) for each level, each announced by a mark, a mark after
/// the last.
Tone make_response_tone(const ResponseToneOptions& options);

inline constexpr double response_pilot_hz = 997.0;
inline constexpr double response_growth_s = 1.4;  // keeps harmonics 2 and 3 apart by 0.57 s
inline constexpr double response_decay_s = 1.0;   // silence after the sweep, in which the unit rings out

}  // namespace assay::capture
