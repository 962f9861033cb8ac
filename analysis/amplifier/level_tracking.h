// Do the steps rise as they were played? A source or recorder that compresses, levels or gates does not let
// them; an amplifier that changes its gain does so with distortion (crossover region, soft limit) or at its
// limit.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "analysis/amplifier/steady_step.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

struct SmallSignalGain {
    double volts_per_full_scale = 0.0;  // RMS at the load for the RMS of a full-scale sine
    double doubt = 0.0;                 // relative standard uncertainty, from the scatter of the steps
    bool found = false;
};

/// Median of fundamental over drive where distortion is lowest and noise is out of the way.
SmallSignalGain small_signal_gain(std::span<const StepReading> readings);

/// The reason why levels do not track, or none. Only steps below `clip_drive_dbfs` are looked at.
std::optional<Absent> levels_do_not_track(std::span<const StepReading> readings, double clip_drive_dbfs);

/// Crossover distortion: distortion that rises as the level falls, odd harmonics, the third in opposite phase
/// to that of clipping (closed form of a dead zone). Gives the text of a warning.
std::optional<std::string> crossover_distortion(std::span<const StepReading> readings);

}  // namespace assay::analysis
