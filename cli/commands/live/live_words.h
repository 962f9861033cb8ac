// Advice in the words of a live bench. The measures speak to somebody who records with a phone or a recorder;
// where this program itself plays and records, there is a run to go on with and a card to look at.
#pragma once

#include <string>

#include "capture/bench.h"
#include "cli/measures/result.h"

namespace assay::cli {

std::string live_advice(std::string advice);

/// Mends of the fault and advice of all warnings.
void word_for_live(TestResult& result);

/// A warning where player and recorder run apart although the bench says that they share one clock. Numbers
/// stand: the ratio is measured and taken out.
void note_second_clock(const capture::Bench& bench, TestResult& result);

}  // namespace assay::cli
