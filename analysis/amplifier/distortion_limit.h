// Volts at which distortion crosses a limit, from the steps of a staircase.
//
// The crossing is the last upward one in the order of the steps: crossover distortion at low level does not
// count, and where the protection folds the volts back the steps still rise. Between steps, distortion and
// volts are both read from curves over drive, at one and the same drive. The doubt of interpolation is what
// several curves through the same steps differ by.
#pragma once

#include <span>
#include <variant>

#include "analysis/amplifier/steady_step.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

enum class DistortionKind { thd, thd_plus_noise };

struct LimitCrossing {
    double drive_dbfs = 0.0;
    double total_v = 0.0;                // RMS at the limit
    double interpolation_doubt_v = 0.0;  // standard uncertainties
    double noise_doubt_v = 0.0;
    double volts_per_distortion = 0.0;  // local slope d total_v / d distortion, for the chain's own residual
    std::size_t below = 0;              // the steps on both sides
    std::size_t above = 0;
};

/// `readings` in the order played, trusted steps only. `limit` as a ratio.
std::variant<LimitCrossing, Absent> find_limit_crossing(std::span<const StepReading> readings, double limit,
                                                        DistortionKind kind);

double distortion_of(const StepReading& reading, DistortionKind kind);

}  // namespace assay::analysis
