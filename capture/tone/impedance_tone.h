// The tone of an impedance measurement: the coded head, then one multitone twice, first at half the level and
// shorter, then at the asked level; each part starts with a stretch in which the driver settles. The two
// levels show whether the driver is still in its small-signal range.
#pragma once

#include <string>

#include "capture/tone/tone.h"

namespace assay::capture {

struct ImpedanceToneOptions {
    double rate_hz = 96000.0;
    double start_hz = 10.0;
    double stop_hz = 20000.0;
    double level_dbfs = -20.0;  // of the sine with the same peak
    std::string code{};         // tells this tone from those of other tests
};

/// Two segments of role step (half level, then level), each announced by marks, marks after the last.
Tone make_impedance_tone(const ImpedanceToneOptions& options);

/// At the start of each step; not to be analysed.
inline constexpr double impedance_settling_s = 3.0;

}  // namespace assay::capture
