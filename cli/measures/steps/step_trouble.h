// One step of one load: its reading, and whether it can be trusted.
#pragma once

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

struct StepWindow {
    std::size_t step = 0;
    double from_s = 0.0;  // of the recording
    double to_s = 0.0;
    double rate_hz = 0.0;
    double clock_ratio = 1.0;
    bool inside = true;  // the samples were read
};

/// `samples`: one vector for each of `channels`, over the window.
void read_load_step(const Setup& setup, const capture::Load& load, const std::vector<int>& channels,
                    const std::vector<std::vector<float>>& samples, const analysis::TonePlan& plan,
                    const StepWindow& window, LoadStep& step);

/// Sets the state and the trouble's words from raw checks, time jumps and the step's own unevenness.
void judge_step(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
                const StepWindow& window, LoadStep& step);

/// More of its samples lie at its peak than a sine's would.
bool looks_flat(const LoadStep& step);

/// Steps after which the tone is gone at a load, though the levels go on rising.
void mark_vanished(StaircaseReading& reading);

/// A flat top that stands at one level of an input while the tone at the load goes up by far more than a
/// clipped wave can: the recorder's own ceiling, e.g. under a common mode. Those steps are overloads.
void mark_standing_ceiling(const Setup& setup, std::size_t load_index, std::vector<LoadStep>& steps);

}  // namespace assay::cli
