// A quiet tone before a test at a power that is asked for, on a live bench: it tells the gain, and the gain
// the level.
#pragma once

#include <span>
#include <string>
#include <variant>

#include "analysis/uncertainty/quantity.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// One second at quiet_dbfs.
capture::Tone quiet_tone(const Setup& setup, double frequency_hz, const std::string& code);

/// Whether that tone is all that a test has played by now.
bool only_quiet(const Setup& setup, std::span<const Take> takes);

/// A load of which the measure gives no number at all, and why; it is warned of once.
Numbers without_numbers(const std::string& measure, const analysis::Absent& why);

/// Why nothing could be learnt from the quiet tone.
analysis::Absent quiet_not_read();

/// Why a test ended behind it: the level that it told cannot be had, or nobody went on.
analysis::Absent why_not_gone_on(const std::variant<double, analysis::Absent>& level);

/// The same, by the quiet tone itself.
analysis::Absent why_only_quiet(const Setup& setup, const Take& quiet);

/// The level at which the load that is nearest to the power asked for gets it, so that none gets more; absent
/// where that is above what the bench allows, or where the quiet tone could not be read.
std::variant<double, analysis::Absent> level_by_quiet_tone(const Setup& setup, const Take& quiet);

}  // namespace assay::cli
