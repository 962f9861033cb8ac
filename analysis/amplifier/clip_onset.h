// Onset of clipping by shape, for one polarity and independent of any distortion limit: the lowest peak from
// which 0.5 dB more drive gives less than 0.25 dB more peak. (For an ideal hard clip at c that is 0.25 dB
// below c.)
#pragma once

#include <span>
#include <variant>

#include "analysis/amplifier/steady_step.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

enum class Polarity { positive, negative };

struct ClipOnset {
    double drive_dbfs = 0.0;
    double peak_v = 0.0;   // magnitude
    double total_v = 0.0;  // RMS of the whole wave at that drive
};

std::variant<ClipOnset, Absent> find_clip_onset(std::span<const StepReading> readings, Polarity polarity);

}  // namespace assay::analysis
