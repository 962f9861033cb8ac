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
inline constexpr double impedance_period_s = 5.0;
inline constexpr int impedance_periods_low = 2;  // whole periods after settling at half the level
inline constexpr int impedance_periods = 4;      // and at the level asked for
inline constexpr double impedance_end_s = 0.1;   // after them, with the fade in it
inline constexpr double impedance_step_db = 6.0205999132796239;

}  // namespace assay::capture
