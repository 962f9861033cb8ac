// A staircase: steady steps of one frequency at given levels, each announced by a short chirp (its mark), the
// whole by a coded row of chirps (the head). A steady tone is a staircase of equal levels.
//
// The head is found in a recording without knowing where it starts, and tells which test's tone it is. The
// marks show lost and doubled blocks: whole cycles of a steady tone leave no trace in its phase.
#pragma once

#include <string>
#include <vector>

#include "capture/tone/tone.h"

namespace assay::capture {

struct StaircaseOptions {
    double rate_hz = 96000.0;
    double frequency_hz = 997.0;
    std::vector<double> levels_dbfs{};
    double step_s = 0.3;  // of each step, without its mark; lengthened where few cycles would fit
    std::string code{};   // tells this tone from those of other tests
};

Tone make_staircase(const StaircaseOptions& options);

/// Shortest step that holds the cycles a fit needs after settling.
double shortest_step_s(double frequency_hz);

}  // namespace assay::capture
