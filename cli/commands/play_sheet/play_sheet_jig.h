// The part of PLAY.txt for tests that sit in the impedance jig: a driver, a series resistor, two inputs.
#pragma once

#include <string>
#include <vector>

#include "cli/commands/play_sheet/play_sheet.h"

namespace assay::cli {

/// A test without loads is played into the jig.
bool sits_in_jig(const Test& test);

/// What a meter at the generator's end of the jig should read while level-set.wav plays. Common practice, no
/// source: some tenths of a volt keep a driver where its parameters are those of small signals.
inline constexpr double jig_level_set_v = 0.2;

/// Cautions, what to set once, and how to go on, for a job whose tones all go into the jig.
std::string jig_sheet_start(const capture::Bench& bench, const LevelSet& level_set);
/// What is to be in the jig for this test, and what its tone puts there.
std::string jig_lines(const SheetEntry& entry, const capture::Bench& bench, const LevelSet& level_set);

}  // namespace assay::cli
