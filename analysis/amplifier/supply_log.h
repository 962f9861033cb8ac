// A supply read by meter now and then while a unit plays: energy and charge drawn, and when its volts fell to
// a limit. Between readings volts, amperes and watts follow straight lines (the trapezoidal rule); before the
// first and after the last they stand still.
//
// What the lines may miss is taken from the readings themselves: the same sum without every second reading
// errs by four times as much (Richardson), so a third of the difference is the doubt; where nothing was read,
// half the change to the nearest other reading, over the time missed. Both rectangular (JCGM 100, 4.3.7).
#pragma once

#include <optional>
#include <span>
#include <string>

#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

struct SupplyReading {
    double minute = 0.0;  // from the start of the signal
    double volts = 0.0;
    std::optional<double> amperes{};
};

struct SupplyDoubts {
    double volts_v = 0.0;       // standard, of each reading by itself
    double amperes_part = 0.0;  // standard, relative, the same in all readings
    std::string source{};       // opens the ids of doubts: "test:held:"
};

struct SupplyTotals {
    Quantity energy_wh{};
    Quantity charge_ah{};
    double covered = 0.0;  // share of the time between the first and the last reading
};

/// From the start to `end_minutes`, of readings that rise in time. Nothing where fewer than two of them up to
/// then have amperes.
std::optional<SupplyTotals> supply_totals(std::span<const SupplyReading> readings, double end_minutes,
                                          const SupplyDoubts& doubts);

struct SupplyCrossing {
    double minutes = 0.0;
    double between_minutes = 0.0;  // the readings before and after it lie so far apart
    double doubt_minutes = 0.0;    // standard: of the volts read, and of the line between them
};

/// When the volts first fell to a limit; nothing where they did not. A supply that starts below it was there
/// at once.
std::optional<SupplyCrossing> supply_crossing(std::span<const SupplyReading> readings, double limit_v,
                                              double doubt_v);

}  // namespace assay::analysis
