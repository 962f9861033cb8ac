// A tone as the analysis needs to know it: times and laws in plain numbers.
#pragma once

#include "analysis/signal/alignment.h"
#include "capture/tone/tone.h"

namespace assay::cli {

/// The tone must outlive the plan.
analysis::TonePlan plan_of(const capture::Tone& tone);

}  // namespace assay::cli
