// Names of quantities and conditions in plain words, for terminal and page.
#pragma once

#include <string>

#include "cli/measures/job.h"
#include "cli/measures/result.h"

namespace assay::cli {

/// "power at 1 % THD" for power_at_1_percent_w; a name that is not known is given with spaces and without its
/// unit. `limit_on` is what the distortion limit is on: "thd" or "thd+n".
std::string quantity_words(const std::string& name, const std::string& limit_on = "thd");

/// The distortion limit in a quantity's name: "1 % THD" of power_at_1_percent_w, "0.1 % THD" of ..._0_1_...;
/// empty if its name has none.
std::string limit_words(const std::string& name, const std::string& limit_on);

/// "THD" or "THD+N" for "thd" and "thd+n".
std::string distortion_name(const std::string& limit_on);

/// The unit in which a name ends: "W" of power_at_1_percent_w, "" if in none.
std::string unit_of(const std::string& name);

/// Measures in plain words: "output power and clipping". Unknown ones by their name.
/// A line unit's output is told in volts.
std::string measure_words(const std::string& measure, UnitKind kind = UnitKind::amplifier);

/// Conditions that another program reads, not a person: the parameters of a fitted model in full precision.
bool for_programs_only(const std::string& condition);

struct ConditionWords {
    std::string words{};  // "supply, loaded"
    std::string value{};  // "13.9 V"
};
/// The unit is taken from the ending of the name (supply_idle_v, frequency_hz).
ConditionWords condition_words(const std::string& name, const Condition& value);

}  // namespace assay::cli
