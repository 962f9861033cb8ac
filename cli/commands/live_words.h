// Advice in the words of a live bench. The measures speak to somebody who records with a phone or a recorder;
// where this program itself plays and records, there is a run to go on with and a card to look at.
#pragma once

#include <string>

#include "cli/measures/result.h"

namespace assay::cli {

std::string live_advice(std::string advice);

/// Mends of the fault and advice of all warnings.
void word_for_live(TestResult& result);

}  // namespace assay::cli
