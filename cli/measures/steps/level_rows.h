// Rising levels at several frequencies, or of bursts, read from a tone row: for each row the steps that can
// be trusted, and what is told of the others.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "analysis/amplifier/steady_step.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

struct LevelRow {
    double frequency_hz = 0.0;
    std::vector<analysis::StepReading> readings{};  // in the order of the levels
    std::vector<double> plus_peaks_dbfs{};          // of the inputs, within each of those steps
    std::vector<double> minus_peaks_dbfs{};
    double plus_share = 1.0;
    std::string trouble{};       // of the first step left out; empty where none was
    bool trouble_above = false;  // a step above the last reading was left out
    bool overload = false;
};

/// Reads a step of one load, from its place; the level is filled in by the caller.
using StepReader = std::function<analysis::StepReading(const capture::Load& load, std::size_t step)>;

/// Steps that follow each other with one frequency make a row. A step is left out where its capture cannot be
/// trusted, and where the output has collapsed (protection, mute).
std::vector<LevelRow> read_rows(const Setup& setup, const Take& take, const PlacedTake& placed,
                                const capture::Load& load, const StepReader& read);

/// A row as the steps of a staircase, for the checks that go by these.
std::vector<LoadStep> steps_of(const LevelRow& row);

/// Levels up to the highest, so many dB of them.
std::vector<double> rising_levels(double top_dbfs, double range_db, double step_db);

}  // namespace assay::cli
