#include "cli/measures/recording/power_level.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {
constexpr double quietest_dbfs = -40.0;
constexpr double below_limit_db = 20.0;
constexpr double worth_telling = 0.02;  // of the power
}  // namespace

double volts_for_power(const capture::Load& load, double power_w, double frequency_hz) {
    return std::sqrt(power_w / conductance_at(load, frequency_hz));
}

double quiet_dbfs(const Setup& setup) {
    return std::min(quietest_dbfs, limit_dbfs(setup) - below_limit_db);
}

std::variant<double, analysis::Absent> level_by_gain(const Setup& setup, double heard_dbfs, double heard_v,
                                                     double wanted_v) {
    const double level = heard_dbfs + analysis::decibels(wanted_v / heard_v);
    const double limit = limit_dbfs(setup);
    if (level <= limit) return level;
    return analysis::Absent{
        "power-not-reached",
        fmt::format("{:.3g} V were asked for; at the bench's maximum of {:.2f} dBFS there would be {:.3g} V",
                    wanted_v, limit, heard_v * analysis::ratio_from_decibels(limit - heard_dbfs)),
        "turn the amplifier's gain up, raise the output's maximum if the unit bears it, or ask for less "
        "power"};
}

bool worth_correcting(double short_by_db) {
    constexpr double close_enough_db = 0.02;
    constexpr double largest_db = 3.0;
    return std::abs(short_by_db) >= close_enough_db && short_by_db <= largest_db;
}

void warn_of_other_power(double asked_w, double got_w, const std::string& what, Numbers& numbers) {
    if (std::abs(got_w / asked_w - 1.0) < worth_telling) return;
    numbers.warn("power-not-met", fmt::format("{:.4g} W were asked for, {:.4g} W {}", asked_w, got_w, what),
                 "loads that differ need a test each; a unit that gives way cannot be set more closely");
}

capture::Result<void> check_power(const Setup& setup) {
    if (!setup.test->number("power_w")) return {};
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (std::isfinite(load.resistance_ohm)) continue;
        return capture::fail(
            capture::FaultKind::bad_input_file,
            fmt::format("power_w: load \"{}\" has no resistance, so there is no power", load.name),
            "give the level as drive_dbfs");
    }
    return {};
}

}  // namespace assay::cli
