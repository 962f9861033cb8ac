// Figures of distortion from several steps: of one level, or read at given volts between rising ones.
#pragma once

#include <variant>
#include <vector>

#include "analysis/uncertainty/quantity.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

struct Figure {
    double value = 0.0;    // ratio, or volts
    double noise = 0.0;    // standard uncertainty from noise
    double scatter = 0.0;  // standard uncertainty of the mean from the scatter of the steps
};

struct DistortionFigures {
    Figure total_v{};
    Figure thd{};
    Figure thd_total{};
    Figure thd_plus_noise{};
    std::vector<Figure> harmonics{};  // [0] is the second
    double plus_share = 1.0;
};

DistortionFigures figures_at_level(const TrustedSteps& steps);

/// Where the staircase passes these volts RMS for the first time; absent where it does not.
std::variant<DistortionFigures, analysis::Absent> figures_at_volts(const TrustedSteps& steps, double volts);

}  // namespace assay::cli
