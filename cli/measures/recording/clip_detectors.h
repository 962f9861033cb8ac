// Inputs of role clip-detector (a lamp's or comparator's contact), watched beside the waveform: at which
// drive each first shows, next to what the wave itself tells.
#pragma once

#include <span>

#include "cli/measures/measure.h"

namespace assay::cli {

/// Conditions "clip_detector_dbfs.<name>": the lowest step during which the detector passes its threshold
/// (threshold_dbfs, -6 dBFS where none is given); "never" where it does not. Takes whose recordings lack the
/// channel or cannot be placed are passed over.
void add_clip_detectors(const Setup& setup, std::span<const Take> takes, TestResult& result);

}  // namespace assay::cli
