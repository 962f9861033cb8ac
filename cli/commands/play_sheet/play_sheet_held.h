// PLAY.txt's words for an endurance test: how long, who stays with it, what the heat does, who stops it.
#pragma once

#include <optional>
#include <string>

#include "cli/commands/play_sheet/play_sheet.h"

namespace assay::cli {

/// An endurance test: its tone sounds for minutes to hours.
bool is_held(const SheetEntry& entry);

/// How long it is played, seconds; longer than its file where that is played in a loop.
double played_s(const SheetEntry& entry);

/// How to play it and how to end it; what to watch, and when to stop. A line unit has no load that gets hot.
std::string held_lines(const SheetEntry& entry, bool line_unit);

/// What the load takes all the time, against its rating. The unit is taken to give `claimed_w` at the
/// level-set tone, or its power to follow the meter where nothing is claimed.
std::string held_heat_line(const SheetEntry& entry, const capture::Load& load,
                           std::optional<double> claimed_w, double level_set_dbfs);

}  // namespace assay::cli
