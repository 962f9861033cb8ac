// Where a stretch of a periodic signal comes again: the highest normalised cross-correlation, between samples
// by a parabola (any text on time-delay estimation; the parabola errs by less than a tenth of a sample on
// signals well below half the rate). Range: the stretch holds many samples of many frequencies; a sine would
// come again everywhere.
#pragma once

#include <optional>
#include <span>

namespace assay::analysis {

struct RepeatLag {
    double frames = 0.0;    // from the start of `within` to where the stretch begins in it
    double likeness = 0.0;  // correlation coefficient there, at most 1
};

/// Nothing where `within` is no longer than the stretch, or one of them is silent.
std::optional<RepeatLag> find_repeat(std::span<const double> stretch, std::span<const double> within);

}  // namespace assay::analysis
