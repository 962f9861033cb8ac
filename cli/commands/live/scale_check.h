// Has a scale moved since it was found? An input of role "reference" hears what an output gives, and the
// volts of both are stated: where the two no longer agree, a volume, a gain or a plug is not where it was.
// Heard with the wiring, before anything louder. Source of the need: a mixer's volume moved after a
// calibration shows in no other number of the bench.
#pragma once

#include <string>
#include <vector>

#include "cli/commands/live/heard_tone.h"
#include "cli/commands/live/trust_remark.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// One input of role "reference" against the output that reaches it.
struct ScaleComparison {
    std::size_t output = 0;  // index into Bench::outputs
    std::size_t input = 0;   // index into Bench::inputs
    double heard_v = 0.0;    // RMS by the input's scale
    double stated_v = 0.0;   // RMS by the output's
    double allowed = 0.0;    // relative difference that both scales' doubts allow (k = 2), at least 2 %

    double difference() const { return heard_v / stated_v - 1.0; }
};

/// Differences above the allowed ones are told from here on; common practice, no source.
inline constexpr double least_allowed = 0.02;
inline constexpr double stops_above = 0.05;    // and above the allowed: somebody has to agree
inline constexpr double refused_above = 0.25;  // two decibels are no drift, and the bench's limits rest on it

/// Only outputs with volts_at_full_scale and references that hear them; each reference under the output that
/// it hears loudest. `level_dbfs`, `frequency_hz`: of the tone.
std::vector<ScaleComparison> compare_scales(const Setup& setup, const std::vector<HeardOutput>& heard,
                                            double level_dbfs, double frequency_hz);

/// What differs too much; a fault (untrusted_capture) where it is refused.
[[nodiscard]] capture::Result<std::vector<TrustRemark>> judge_scales(
    const Setup& setup, const std::vector<ScaleComparison>& compared);

/// One line a comparison, for the wiring check's report.
std::vector<std::string> scale_lines(const Setup& setup, const std::vector<ScaleComparison>& compared);

}  // namespace assay::cli
