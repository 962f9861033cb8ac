// Claims judged against what was measured, on their stated basis.
#pragma once

#include <vector>

#include "cli/measures/measure.h"

namespace assay::cli {

/// Nominal with within_percent is a band around the nominal value. A claim whose basis (supply,
/// load, channels driven) differs by more than 5 % is undecided, with that reason; so is one without a
/// number.
JudgedClaim judge_claim(const Claim& claim, const Job& job, const capture::Bench& bench,
                        const TestResult* result);

}  // namespace assay::cli
