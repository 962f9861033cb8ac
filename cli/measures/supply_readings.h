// The supply as read by meter during a long test: what it gave, and when it fell to its limit.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/amplifier/supply_log.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// The field `readings` of a test: rows of minute, supply_v, supply_a; the last may be left out.
Field supply_readings_field();
std::vector<analysis::SupplyReading> supply_readings(const Test& test);

/// When the readings fell to end_supply_v; nothing where it is not asked for, or was not reached.
std::optional<analysis::SupplyCrossing> supply_cut_off(const Test& test);

/// What the output did, for the whole unit.
struct HeldEnding {
    double minutes = 0.0;  // the signal sounded, or until the first output ended
    bool output_ended = false;
    double doubt_minutes = 0.0;
    std::optional<analysis::Quantity> delivered_wh{};  // into all loads until then
};

/// Energy, charge, efficiency, run time of a battery system, and the readings as a curve. Says nothing where
/// no readings are given and no end of the supply is asked for.
void add_supply_numbers(const Test& test, const HeldEnding& ending, Numbers& numbers);

}  // namespace assay::cli
