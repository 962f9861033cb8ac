// What is neither the tone nor its harmonics but counts as power: hum, another tone, noise.
#pragma once

#include "analysis/amplifier/steady_step.h"
#include "capture/bench.h"
#include "cli/measures/result.h"

namespace assay::cli {

/// Warns where more than half a percent of a step's power is not of the tone: `hum` where most of it lies
/// among the mains' harmonics, `interference` else. By the definition of power it stays in the number.
void warn_of_interference(const analysis::StepReading& step, Findings& findings);

/// Warns where nothing is stated of what player and recorder themselves distort.
void warn_of_unknown_own_distortion(const capture::Input& input, Findings& findings);

}  // namespace assay::cli
