// One table of power from all tests of a session that give watts: what was driven, into which ohms, on which
// supply, how many watts at each limit; and what follows from setting rows side by side. A pure function over
// results: nothing here looks at samples.
//
// Sources: JCGM 100:2008 (GUM) 5.2 for ratios of numbers that share causes of doubt; Ohm's law for what a
// stiff supply would give; pi/4 for the efficiency of an ideal class-B stage on a sine (any text on
// amplifiers). Range: rows are compared only where all but the one thing differs by no more than a claim may
// differ from its basis.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analysis/uncertainty/quantity.h"
#include "cli/files/session/session.h"

namespace assay::cli {

struct PowerLoad {
    std::string name{};
    double resistance_ohm = 0.0;
    bool bridged = false;
};

/// Watts at one limit, the loads in the order of the row.
struct PowerAtLimit {
    std::string limit{};  // as in the names of quantities: "1", "0_1"; empty: a reading by hand
    std::vector<std::optional<analysis::Quantity>> loads{};
    std::optional<analysis::Quantity> total{};  // only where every load has its number
};

enum class Arrangement { one_channel, channels_together, bridged, bridged_and_stereo };

/// Readings by meter at the unit's terminals, as they were typed in.
struct SupplyReadings {
    std::optional<double> idle_v{};
    std::optional<double> loaded_v{};
    std::optional<double> idle_a{};
    std::optional<double> loaded_a{};
    double doubt_v = 0.0;  // standard uncertainty of each reading of volts; 0: none stated
};

struct PowerRow {
    std::string test{};
    bool by_meter = false;  // read off a meter: no recording stands behind it
    Arrangement arrangement = Arrangement::one_channel;
    std::vector<PowerLoad> loads{};
    double lowest_channel_ohm = 0.0;  // the smallest load that one channel of the unit sees
    std::optional<double> frequency_hz{};
    std::string limit_on{};       // "thd" or "thd+n"
    std::string limit_told_by{};  // of a reading by hand
    SupplyReadings supply{};
    std::vector<PowerAtLimit> powers{};
    /// supply_sag_v, supply_resistance_ohm, efficiency_percent, idle_draw_w; what cannot be given, and why.
    Numbers figures{};

    const PowerAtLimit* at(const std::string& limit) const {
        for (const PowerAtLimit& power : powers) {
            if (power.limit == limit) return &power;
        }
        return nullptr;
    }
};

enum class LineKind { channels, bridged, ohms, supply, projection };

/// What rows say side by side, at one limit.
struct PowerLine {
    LineKind kind = LineKind::channels;
    std::string limit{};
    std::vector<std::string> tests{};  // in the order of the comparison
    std::string load{};                // of a comparison of one load
    /// channels: drop_db, drop_percent. bridged: over_channel, over_stereo_total. ohms: power_ratio,
    /// of_doubling_percent. supply: exponent. projection: estimated_w.
    Numbers figures{};
    /// Ohms or volts of the tests, in their order; of a projection also the volts aimed at.
    std::vector<double> from{};
    double stiff_ratio = 0.0;  // what a stiff supply without losses would give; 0: does not apply
};

struct PowerTable {
    std::vector<PowerRow> rows{};
    std::vector<PowerLine> lines{};

    const PowerRow* row(const std::string& test) const {
        for (const PowerRow& candidate : rows) {
            if (candidate.test == test) return &candidate;
        }
        return nullptr;
    }
};

PowerTable power_table(const Session& session);

/// The limit that a person reads first: 1 % where it is among them, else the lowest. Empty without rows.
std::string headline_limit(const PowerTable& table);
/// All limits of the table, the headline first, then by their size.
std::vector<std::string> limits_of(const PowerTable& table);

/// 0.1 of "0_1".
double limit_percent(const std::string& limit);

/// The volts that stood at the unit's terminals while it gave its power: loaded, else idle.
std::optional<double> working_volts(const SupplyReadings& supply);

/// Rows side by side: appends to `table.lines`. Internal to the table.
void add_power_lines(const Session& session, PowerTable& table);

}  // namespace assay::cli
