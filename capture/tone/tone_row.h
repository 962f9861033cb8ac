// A row of unlike steps (sines of several frequencies, pairs, bursts), each announced by a mark, the whole by
// the coded head. Head and marks lie around 997 Hz, whatever the steps are.
#pragma once

#include <string>
#include <vector>

#include "capture/tone/tone.h"

namespace assay::capture {

struct RowStep {
    SignalLaw law = SteadySine{};
    double level_dbfs = -20.0;
    double step_s = 1.0;
};

struct ToneRowOptions {
    double rate_hz = 96000.0;
    std::vector<RowStep> steps{};
    double head_dbfs = -30.0;
    double mark_dbfs = -20.0;   // of all marks
    bool marks_follow = false;  // each mark has the level of its step instead
    std::string code{};         // tells this tone from those of other tests
};

Tone make_tone_row(const ToneRowOptions& options);

}  // namespace assay::capture
