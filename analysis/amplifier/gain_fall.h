// How far the output has fallen behind the drive: what is left to judge a limit by where the harmonics that
// tell of it lie beyond the band.
#pragma once

#include <span>
#include <variant>

#include "analysis/amplifier/distortion_limit.h"

namespace assay::analysis {

/// Fall of the fundamental's gain from its small-signal value, dB, at a drive between the steps (straight
/// lines). The small-signal gain is that of the faintest 3 dB of steps. Absent where no step stands clear of
/// noise.
std::variant<double, Absent> gain_fall_db(std::span<const StepReading> readings, double drive_dbfs);

/// Volts where the gain first has fallen so far for good, in the order of the steps. The doubt is that of a
/// fall known to a tenth of itself and to 0.01 dB, and of what the faintest steps bend by. Absent where they
/// have fallen by half of it: then the unit is limited below the row.
std::variant<LimitCrossing, Absent> find_gain_fall(std::span<const StepReading> readings, double fall_db);

}  // namespace assay::analysis
