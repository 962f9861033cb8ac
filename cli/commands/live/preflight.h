// Before a recorder is connected to an output that may be bridged: three readings of a multimeter, the unit
// on and without a signal. A minus terminal that is not ground shorts through the recorder's ground; units
// with a single supply idle near half of it on both terminals. Bands: common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "cli/commands/terminal/questions.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// Volts of DC.
struct TerminalVolts {
    double plus_to_ground_v = 0.0;  // ground: the supply's negative
    double minus_to_ground_v = 0.0;
    double plus_to_minus_v = 0.0;
};

/// A load needs them that hangs between two live terminals, and any load of a unit that can be bridged: such
/// units often invert one channel, whose minus terminal is live then too.
bool needs_preflight(const capture::Load& load, const Unit& unit);

/// What to say about them, or why nothing may be connected (kind untrusted_capture). `supply_v`: where known.
[[nodiscard]] capture::Result<std::vector<std::string>> judge_terminals(const capture::Load& load,
                                                                        const TerminalVolts& volts,
                                                                        std::optional<double> supply_v);

/// Asks, keys `<load>-plus_to_ground_v`, `<load>-minus_to_ground_v`, `<load>-plus_to_minus_v`. A confirmation
/// in advance does not stand for them.
[[nodiscard]] capture::Result<TerminalVolts> ask_terminals(Questions& questions, const capture::Load& load);

}  // namespace assay::cli
