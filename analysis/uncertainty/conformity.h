// Judgement of a measured value against a limit, with a guard band.
//
// Source: JCGM 106:2012 and ILAC-G8:09/2019: acceptance limit = tolerance limit moved by the guard band
// w = U (expanded uncertainty, k = 2). A value inside the band is not decided: `met` and `not met` are
// each wrong with a risk below 2.5 %.
#pragma once

#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

enum class Verdict { met, not_met, undecided };

/// Limits of conformity; an end that is not set is open.
struct Tolerance {
    std::optional<double> at_least{};
    std::optional<double> at_most{};
};

Verdict judge(const Quantity& measured, const Tolerance& tolerance);

}  // namespace assay::analysis
