// A recording of a staircase, placed and read: every step of every load, and what speaks against trusting it.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "analysis/amplifier/steady_step.h"
#include "analysis/signal/alignment.h"
#include "capture/raw_checks.h"
#include "cli/measures/measure.h"

namespace assay::cli {

enum class StepState {
    sound,
    overload,  // an input of this load was at full scale
    dropout,   // samples lost, doubled or replaced
    vanished,  // the tone was no longer there (protection, mute, a pulled lead)
};

struct LoadStep {
    analysis::StepReading reading{};
    StepState state = StepState::sound;
    double plus_share = 1.0;         // see load_voltage
    double plus_peak_dbfs = -200.0;  // of the inputs, sample peak within the step
    double minus_peak_dbfs = -200.0;
    double plus_flat_share = 0.0;  // of the samples, within a thousandth of the peak
    double minus_flat_share = 0.0;
    std::string trouble{};  // in words, with the second, when not sound
};

struct StaircaseReading {
    analysis::Placement placement{};
    double clock_ppm = 0.0;
    std::vector<std::vector<LoadStep>> loads{};  // in the order of the test's loads, one entry a step
    std::vector<LoadStep> reference{};           // the unit's own input; empty where the test has none
    capture::RawChecks raw{};
};

/// Faults are what makes the whole recording worthless: no signal, another signal, cut short, backwards,
/// levels that no player would give.
[[nodiscard]] capture::Result<StaircaseReading> read_staircase(const Setup& setup, const Take& take);

/// Conditions that any played test has: start_s, clock_ppm, the recording's rate and format, loads,
/// frequency.
void add_conditions(const Setup& setup, const Take& take, const StaircaseReading& reading,
                    TestResult& result);

/// "12.34 s"
std::string seconds_text(double seconds);

}  // namespace assay::cli
