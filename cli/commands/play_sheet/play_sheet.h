// PLAY.txt: what a person with a phone does, in order, and what each tone puts into the load.
#pragma once

#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/tone/tone.h"
#include "cli/measures/job.h"

namespace assay::cli {

struct SheetEntry {
    const Test* test = nullptr;
    capture::Tone tone{};
};

struct LevelSet {
    double level_dbfs = -10.0;
    double frequency_hz = 997.0;
    double seconds = 30.0;
};

std::string play_sheet(const Job& job, const capture::Bench& bench, const std::vector<SheetEntry>& entries,
                       const LevelSet& level_set);

}  // namespace assay::cli
