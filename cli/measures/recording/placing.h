// Finds a tone in a recording: the way from a take to a placement, and the words when it is not there.
#pragma once

#include <string>
#include <vector>

#include "analysis/signal/alignment.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// The channel that the tone stands out in best places it; all channels share one clock.
[[nodiscard]] capture::Result<analysis::Placement> place_tone(const Take& take,
                                                              const std::vector<int>& channels,
                                                              const analysis::TonePlan& plan);

/// Fault unless the recording has the highest of the channels (by rising number).
[[nodiscard]] capture::Result<void> check_channels(const Take& take, const std::vector<int>& channels);

/// Fault unless the recording goes on to that second.
[[nodiscard]] capture::Result<void> check_length(const Take& take, double end_s);

/// File name of the capture, for messages.
std::string file_of(const Take& take);

}  // namespace assay::cli
