// What a live session is about to play, told before the first sound.
#pragma once

#include <string>
#include <vector>

#include "capture/bench.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Names of loads by their indices, with commas.
std::string names_of(const capture::Bench& bench, const std::vector<std::size_t>& loads);

/// A line for each test that plays: highest level, longest time, where it is heard. Rests and what is played
/// again are not counted. Times from three minutes on are in minutes.
std::string live_summary(const Job& job, const capture::Bench& bench);

}  // namespace assay::cli
