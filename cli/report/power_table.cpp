#include "cli/report/power_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "cli/files/plain_text.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/report/basis.h"

namespace assay::cli {
namespace {

using analysis::Quantity;

constexpr std::string_view before_limit = "power_at_";
constexpr std::string_view after_limit = "_percent_w";
// A resistor sold as 4 ohm may have 3.9: the same 5 % as for a claim and its basis.
constexpr double nominal_slack = 0.05;
// An ideal class-B stage on a sine at full swing: pi / 4.
constexpr double class_b_percent = 25.0 * std::numbers::pi;

void leave_out(PowerRow& row, const std::string& name, const analysis::Absent& why) {
    row.figures.absent.emplace_back(name, why);
}

PowerLoad load_of(const Session& session, const TestResult& result, const std::string& name) {
    const capture::Load* load = find_load(session.bench, name);
    const auto stated = number_condition(result, "load_ohm." + name);
    const double bench_ohm = load != nullptr ? load->resistance_ohm : 0.0;
    return {name, stated.value_or(bench_ohm), load != nullptr && load->bridged()};
}

Arrangement arrangement_of(const std::vector<PowerLoad>& loads) {
    const bool any = std::any_of(loads.begin(), loads.end(), [](const PowerLoad& l) { return l.bridged; });
    const bool all = std::all_of(loads.begin(), loads.end(), [](const PowerLoad& l) { return l.bridged; });
    if (all) return Arrangement::bridged;
    if (any) return Arrangement::bridged_and_stereo;
    return loads.size() == 1 ? Arrangement::one_channel : Arrangement::channels_together;
}

/// The smallest load of one channel. Each half of a bridge works into half of its load, since its other end
/// is driven the opposite way; loads at the same terminal lie in parallel.
double lowest_channel_ohm(const capture::Bench& bench, const std::vector<PowerLoad>& loads) {
    std::vector<double> siemens(bench.inputs.size() + 1, 0.0);
    const auto add = [&](std::size_t terminal, double ohm) {
        if (terminal < siemens.size() && ohm > 0.0) siemens[terminal] += 1.0 / ohm;
    };
    for (const PowerLoad& row : loads) {
        const capture::Load* load = find_load(bench, row.name);
        if (load == nullptr) continue;
        const double own = row.bridged ? 0.5 * row.resistance_ohm : row.resistance_ohm;
        add(load->plus, own);
        if (load->minus) add(*load->minus, own);
    }
    const double largest = *std::max_element(siemens.begin(), siemens.end());
    return largest > 0.0 ? 1.0 / largest : 0.0;
}

void add_powers(const TestResult& result, PowerRow& row) {
    std::vector<std::string> limits;
    for (const auto& [load, numbers] : result.loads) {
        for (const auto& [name, quantity] : numbers.quantities) {
            const std::string limit = limit_in(name, before_limit, after_limit);
            const bool wanted = row.by_meter ? name == "power_w" : !limit.empty();
            if (wanted && std::find(limits.begin(), limits.end(), limit) == limits.end())
                limits.push_back(limit);
        }
    }
    std::sort(limits.begin(), limits.end(),
              [](const std::string& a, const std::string& b) { return limit_percent(a) < limit_percent(b); });
    for (const std::string& limit : limits) {
        const std::string name =
            row.by_meter ? "power_w" : std::string(before_limit) + limit + std::string(after_limit);
        PowerAtLimit power{limit, {}, {}};
        std::vector<Quantity> given;
        for (const auto& [load, numbers] : result.loads) {
            const Quantity* quantity = numbers.find(name);
            power.loads.push_back(quantity != nullptr ? std::optional<Quantity>(*quantity) : std::nullopt);
            if (quantity != nullptr) given.push_back(*quantity);
        }
        if (given.size() == result.loads.size()) power.total = analysis::sum(given);
        row.powers.push_back(std::move(power));
    }
}

/// A reading of the supply with its doubt, where that is stated. Each reading of volts errs by itself (its
/// last digits); the scale of the ammeter is the same in all readings.
Quantity volts_reading(const PowerRow& row, double volts, const std::string& which) {
    Quantity quantity = analysis::exact(volts, "V");
    if (row.supply.doubt_v > 0.0)
        quantity.contributions["test:" + row.test + ":supply-" + which + "-v"] = row.supply.doubt_v;
    return quantity;
}
Quantity current_reading(const TestRecord& record, double amperes) {
    Quantity quantity = analysis::exact(amperes, "A");
    if (const auto doubt = number_condition(record.result, "supply_current_uncertainty_percent"))
        quantity.contributions["supply:current"] = amperes * *doubt / 100.0;
    return quantity;
}

Quantity product(const Quantity& a, const Quantity& b, const std::string& unit) {
    return analysis::combine(a.value * b.value, unit, {{&a, b.value}, {&b, a.value}});
}

void add_sag(const TestRecord& record, PowerRow& row) {
    const SupplyReadings& supply = row.supply;
    if (!supply.idle_v || !supply.loaded_v) return;
    const Quantity idle_v = volts_reading(row, *supply.idle_v, "idle");
    const Quantity loaded_v = volts_reading(row, *supply.loaded_v, "loaded");
    const Quantity sag = analysis::difference(idle_v, loaded_v);
    row.figures.add("supply_sag_v", sag);
    const std::string name = "supply_resistance_ohm";
    if (!supply.loaded_a && !supply.idle_a) return;  // nobody asked for it
    if (!supply.loaded_a || !supply.idle_a) {
        leave_out(row, name,
                  {"supply-current-missing",
                   supply.idle_a ? "the current under load was not read" : "the idle current was not read",
                   "give supply_idle_current_a and supply_current_a"});
        return;
    }
    const Quantity idle_a = current_reading(record, *supply.idle_a);
    const Quantity loaded_a = current_reading(record, *supply.loaded_a);
    const Quantity rise = analysis::difference(loaded_a, idle_a);
    if (!(rise.value > 0.0)) {
        leave_out(row, name,
                  {"supply-current-does-not-rise", "the current under load is not above the idle current",
                   "read both again: the idle one without signal, the other at full output"});
        return;
    }
    if (sag.value < 0.0) {
        leave_out(row, name,
                  {"supply-rises", "the supply reads higher under load than idle: a charger, or a slip",
                   "read both again, at the unit's own terminals"});
        return;
    }
    row.figures.add(name, analysis::ratio(sag, rise, "ohm"));
}

/// The limit at which the readings under load were taken: as stated, else 1 %, else the first one.
const PowerAtLimit* loaded_limit(const TestRecord& record, const PowerRow& row) {
    const auto stated = number_condition(record.result, "supply_read_at_percent");
    for (const PowerAtLimit& power : row.powers) {
        if (stated && std::abs(limit_percent(power.limit) - *stated) < 1e-9) return &power;
    }
    if (stated || row.powers.empty()) return nullptr;
    const PowerAtLimit* usual = row.at("1");
    return usual != nullptr ? usual : &row.powers.front();
}

void add_efficiency(const Session& session, const TestRecord& record, PowerRow& row) {
    const SupplyReadings& supply = row.supply;
    const std::string name = "efficiency_percent";
    if (!supply.loaded_a) return;
    if (!supply.loaded_v) {
        leave_out(
            row, name,
            {"supply-volts-missing", "the supply's volts under load were not read", "give supply_loaded_v"});
        return;
    }
    const PowerAtLimit* power = loaded_limit(record, row);
    if (power == nullptr || !power->total) {
        leave_out(row, name,
                  {"power-missing", "there is no power of all loads at the limit where the supply was read",
                   "let every load reach the limit, or state supply_read_at_percent"});
        return;
    }
    const Quantity volts = volts_reading(row, *supply.loaded_v, "loaded");
    const Quantity amperes = current_reading(record, *supply.loaded_a);
    const Quantity drawn = product(volts, amperes, "W");
    if (!(drawn.value > 0.0)) {
        leave_out(row, name,
                  {"no-power-drawn", "the readings of the supply give no watts drawn",
                   "read volts and amperes again at full output"});
        return;
    }
    Quantity efficiency = analysis::ratio(*power->total, drawn, "%");
    efficiency.value *= 100.0;
    for (auto& [id, contribution] : efficiency.contributions) contribution *= 100.0;
    if (efficiency.value > 100.0) {
        leave_out(row, name,
                  {"efficiency-impossible",
                   fmt::format("{:.4g} W delivered from {:.4g} W drawn is more than the supply gave",
                               power->total->value, drawn.value),
                   "read volts and amperes while the unit gives its full output, at its own terminals; a "
                   "battery and a charger both feed it"});
        return;
    }
    row.figures.add(name, efficiency);
    if (efficiency.value > class_b_percent && session.unit.output_stage != OutputStage::switching) {
        row.figures.warn(
            "efficiency-unlikely",
            fmt::format("{:.3g} % is more than an ideal class-B output stage reaches on a sine "
                        "({:.1f} %)",
                        efficiency.value, class_b_percent),
            "read the supply again while the unit gives its full output; of a switching amplifier "
            "state output_stage = \"switching\" in [unit]");
    }
}

void add_minimum_loads(const Unit& unit, PowerRow& row) {
    const bool bridged = row.arrangement == Arrangement::bridged;
    for (const PowerLoad& load : row.loads) {
        if (!load.bridged || !unit.minimum_bridged_load_ohm) continue;
        if (load.resistance_ohm >= (1.0 - nominal_slack) * *unit.minimum_bridged_load_ohm) continue;
        row.figures.warn(
            "below-minimum-load",
            fmt::format("{} has {:.4g} ohm, below the {:.4g} ohm that the maker allows bridged",
                        visible_text(load.name, 60), load.resistance_ohm, *unit.minimum_bridged_load_ohm),
            "take a larger load: the unit may overheat, trip or fail");
        return;
    }
    const bool told_by_own_minimum = bridged && unit.minimum_bridged_load_ohm;
    if (told_by_own_minimum || !unit.minimum_load_ohm || !(row.lowest_channel_ohm > 0.0)) return;
    if (row.lowest_channel_ohm >= (1.0 - nominal_slack) * *unit.minimum_load_ohm) return;
    row.figures.warn(
        "below-minimum-load",
        fmt::format("one channel works into {:.4g} ohm{}, below the {:.4g} ohm that the maker allows",
                    row.lowest_channel_ohm,
                    row.arrangement == Arrangement::bridged ? " (half of the bridged load)"
                    : row.arrangement == Arrangement::bridged_and_stereo
                        ? " (its own load beside half of the bridged one)"
                        : "",
                    *unit.minimum_load_ohm),
        "take larger loads: the unit may overheat, trip or fail");
}

PowerRow row_of(const Session& session, const TestRecord& record) {
    const TestResult& result = record.result;
    PowerRow row;
    row.test = record.id;
    row.by_meter = result.measure == "meter-power";
    for (const auto& [name, numbers] : result.loads) row.loads.push_back(load_of(session, result, name));
    row.arrangement = arrangement_of(row.loads);
    row.lowest_channel_ohm = lowest_channel_ohm(session.bench, row.loads);
    row.frequency_hz = tone_frequency_hz(record);
    row.limit_on = text_condition(result, "limit_on", "thd");
    if (row.by_meter) row.limit_told_by = text_condition(result, "limit_told_by", "not stated");
    row.supply = {number_condition(result, "supply_idle_v"), number_condition(result, "supply_loaded_v"),
                  number_condition(result, "supply_idle_current_a"),
                  number_condition(result, "supply_current_a"),
                  number_condition(result, "supply_uncertainty_v").value_or(0.0)};
    add_powers(result, row);
    add_sag(record, row);
    add_efficiency(session, record, row);
    if (row.supply.idle_v && row.supply.idle_a) {
        row.figures.add("idle_draw_w", product(volts_reading(row, *row.supply.idle_v, "idle"),
                                               current_reading(record, *row.supply.idle_a), "W"));
    }
    add_minimum_loads(session.unit, row);
    return row;
}

}  // namespace

double limit_percent(const std::string& limit) {
    return limit_value(limit).value_or(0.0);
}

std::optional<double> working_volts(const SupplyReadings& supply) {
    return supply.loaded_v ? supply.loaded_v : supply.idle_v;
}

std::vector<std::string> limits_of(const PowerTable& table) {
    std::vector<std::string> limits;
    for (const PowerRow& row : table.rows) {
        for (const PowerAtLimit& power : row.powers) {
            const bool known = std::find(limits.begin(), limits.end(), power.limit) != limits.end();
            if (!power.limit.empty() && !known) limits.push_back(power.limit);
        }
    }
    std::sort(limits.begin(), limits.end(), [](const std::string& a, const std::string& b) {
        return std::pair(a != "1", limit_percent(a)) < std::pair(b != "1", limit_percent(b));
    });
    return limits;
}

std::string headline_limit(const PowerTable& table) {
    const std::vector<std::string> limits = limits_of(table);
    return limits.empty() ? std::string{} : limits.front();
}

PowerTable power_table(const Session& session) {
    PowerTable table;
    if (session.unit.kind != UnitKind::amplifier) return table;  // a line unit gives volts
    for (const TestRecord& record : session.tests) {
        const std::string& measure = record.result.measure;
        if (measure != "clipping-power" && measure != "meter-power") continue;
        if (record.result.fault || record.result.loads.empty()) continue;
        table.rows.push_back(row_of(session, record));
    }
    add_power_lines(session, table);
    return table;
}

}  // namespace assay::cli
