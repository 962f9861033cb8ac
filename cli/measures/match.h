// Measure `match`: how the jig's two inputs differ, both on one node, or with a known resistor in the
// driver's place.
#pragma once

#include <span>

#include "cli/measures/jig/input_match.h"
#include "cli/measures/measure.h"

namespace assay::cli::match {

Measure measure();

}  // namespace assay::cli::match

namespace assay::cli {

/// The match of a match test. Faults: what makes the capture worthless.
[[nodiscard]] capture::Result<InputMatch> match_of(const Setup& setup, std::span<const Take> takes);

}  // namespace assay::cli
