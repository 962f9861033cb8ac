// What is neither the tone nor its harmonics but counts as power: hum, another tone, noise.
#pragma once

#include <optional>

#include "analysis/amplifier/steady_step.h"
#include "capture/bench.h"
#include "cli/measures/result.h"

namespace assay::cli {

/// Warns where more than half a percent of a step's power is not of the tone: `hum` where most of it lies
/// among the mains' harmonics, `interference` else. By the definition of power it stays in the number.
void warn_of_interference(const analysis::StepReading& step, Numbers& numbers);

/// Why a ratio of distortion cannot be a number: it lies below three times the chain's own residual, or below
/// three times what noise alone adds; nothing where it is clear of both. All are ratios.
std::optional<analysis::Absent> below_floor(double ratio, double noise, double own);
/// The factor of both.
inline constexpr double times_floor = 3.0;

/// Warns where nothing is stated of what player and recorder themselves distort.
void warn_of_unknown_own_distortion(const capture::Input& input, Numbers& numbers);

}  // namespace assay::cli
