// What endurance says where a power is asked for, which only a live bench can hold from the start.
#pragma once

#include "cli/measures/measure.h"
#include "cli/measures/recording/held_recording.h"

namespace assay::cli {

/// A test that played nothing but the quiet tone: no numbers, and why. `noise`: it was to hold noise.
TestResult nothing_held(const Setup& setup, const Take& quiet, bool noise, TestResult result);

/// Warns where the power at the start was another than the one asked for; nothing where none was.
void warn_of_other_start(const Setup& setup, const capture::Load& load, double frequency_hz,
                         const HeldLoad& held, Numbers& numbers);

}  // namespace assay::cli
