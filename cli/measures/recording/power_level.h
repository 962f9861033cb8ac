// Levels where a power is asked for. The gain is not known beforehand: recordings made elsewhere hold a short
// staircase, and the result is read at that power between two of its steps; on a live bench a quiet step
// tells the gain, and the level follows from it.
#pragma once

#include <cstddef>
#include <string>
#include <variant>

#include "cli/measures/measure.h"

namespace assay::cli {

/// Volts RMS across a load at which it takes so many watts; its inductance counts.
double volts_for_power(const capture::Load& load, double power_w, double frequency_hz);

/// Level of the step that tells the gain: 40 dB below full scale, and at least 20 dB below the limit.
double quiet_dbfs(const Setup& setup);

/// The level at which volts come out that are so many times those heard at another level, if the gain stays;
/// absent where that is above what the bench allows.
std::variant<double, analysis::Absent> level_by_gain(const Setup& setup, double heard_dbfs, double heard_v,
                                                     double wanted_v);

/// Takes of a live test that is set to a power: one quiet, then the level, then corrected ones.
inline constexpr std::size_t most_takes_at_power = 4;
/// Whether a level that came out so far below the one asked for is worth another take: not within 0.02 dB
/// (half a per cent of the power), nor beyond 3 dB, which is a unit that gives way and no wrong gain.
bool worth_correcting(double short_by_db);

/// Warns where the power that was come to is more than 2 % from the one asked for. `what`: "is what this
/// curve belongs to".
void warn_of_other_power(double asked_w, double got_w, const std::string& what, Numbers& numbers);

/// Every load must have a resistance, where power_w is asked for.
capture::Result<void> check_power(const Setup& setup);

}  // namespace assay::cli
