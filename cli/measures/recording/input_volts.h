// Volts at the unit's own input, step by step: as a reference input hears them, or as the output's scale says
// them. From them gain, and the volts that a rated output needs (input sensitivity).
#pragma once

#include <optional>
#include <variant>
#include <vector>

#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

struct InputVolts {
    /// RMS at each of the readings of a load; nothing where the reference cannot be trusted there.
    std::vector<std::optional<double>> at_reading{};
    std::vector<capture::RelativeDoubt> scale_doubts{};  // of the reference; none for an output's scale
};

/// Absent where neither is there, or where the reference does not hear the tone.
std::variant<InputVolts, analysis::Absent> input_volts(const Setup& setup, const capture::Load& load,
                                                       const StaircaseReading& reading,
                                                       const TrustedSteps& steps);

/// `gain_db`, well below clipping; absent with its reason otherwise.
void add_gain(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
              const TrustedSteps& steps, Numbers& numbers);

/// `input_sensitivity_v`: RMS volts at the unit's input for rated_power_w or rated_v, between the two steps
/// where the load first reaches it. Nothing is added where the test states neither.
void add_sensitivity(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
                     const TrustedSteps& steps, Numbers& numbers);

}  // namespace assay::cli
