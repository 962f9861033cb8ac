#include "cli/measures/supply_readings.h"

#include <fmt/format.h>

#include <cmath>
#include <limits>

#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using analysis::Quantity;
using analysis::SupplyReading;

constexpr std::size_t columns = 3;
constexpr double least_covered = 0.8;  // of the time: less is no log of it

analysis::SupplyDoubts doubts_of(const Test& test) {
    return {.volts_v = test.number("supply_uncertainty_v").value_or(0.0),
            .amperes_part = test.number("supply_current_uncertainty_percent").value_or(0.0) / 100.0,
            .source = "test:" + test.id + ":"};
}

void add_energy(const Test& test, const std::vector<SupplyReading>& readings, const HeldEnding& ending,
                Numbers& numbers) {
    const auto totals = analysis::supply_totals(readings, ending.minutes, doubts_of(test));
    if (!totals || totals->covered < least_covered) {
        const Absent why{"too-few-readings",
                         totals ? fmt::format("the readings cover {:.0f} % of {:.4g} minutes",
                                              100.0 * totals->covered, ending.minutes)
                                : "fewer than two readings of volts and amperes while the output lasted",
                         "read volts and amperes at the start, every few minutes, and at the end"};
        numbers.add_absent("supply_energy_wh", why);
        return;
    }
    numbers.add("supply_energy_wh", totals->energy_wh);
    numbers.add("supply_charge_ah", totals->charge_ah);
    if (!ending.delivered_wh || !(totals->energy_wh.value > 0.0)) return;
    Quantity efficiency = analysis::ratio(*ending.delivered_wh, totals->energy_wh, "%");
    efficiency.value *= 100.0;
    for (auto& [id, contribution] : efficiency.contributions) contribution *= 100.0;
    if (efficiency.value > 100.0) {
        numbers.add_absent(
            "efficiency_percent",
            {"efficiency-impossible", "more energy in the loads than the readings say the supply gave",
             "read volts and amperes at the unit's own terminals; a charger must be off"});
        return;
    }
    numbers.add("efficiency_percent", efficiency);
}

void add_run_time(const Test& test, const std::vector<SupplyReading>& readings, const HeldEnding& ending,
                  Numbers& numbers) {
    const auto limit_v = test.number("end_supply_v");
    const auto crossing = supply_cut_off(test);
    const std::string name = "battery_run_minutes";
    if (crossing && crossing->minutes <= ending.minutes) {
        Quantity run{crossing->minutes, "min", {}};
        add_doubt(run, "test:" + test.id + ":supply-crossing", crossing->doubt_minutes);
        numbers.add(name, run);
        return;
    }
    if (ending.output_ended) {
        Quantity run{ending.minutes, "min", {}};
        add_doubt(run, "test:" + test.id + ":output-end", ending.doubt_minutes);
        numbers.add(name, run);
        return;
    }
    if (!limit_v) return;
    numbers.add_absent(
        name, {"supply-not-down",
               readings.empty()
                   ? "no readings of the supply are given"
                   : fmt::format("the last reading, {:.4g} V at {:.4g} minutes, is above {:.4g} V, and the "
                                 "output still stood after {:.4g} minutes",
                                 readings.back().volts, readings.back().minute, *limit_v, ending.minutes),
               readings.empty() ? "give readings = [{ minute = 0, supply_v = 12.8, supply_a = 5.2 }, ...]"
                                : "play for longer, or end at a higher voltage"});
}

}  // namespace

Field supply_readings_field() {
    return {
        .name = "readings",
        .type = FieldType::rows,
        .maximum = 1e4,
        .choices = {"minute", "supply_v", "supply_a"},
        .help =
            "the supply by meter: a list of { minute, supply_v, supply_a }, minutes from the signal's start"};
}

std::vector<SupplyReading> supply_readings(const Test& test) {
    const std::vector<double> flat = test.numbers("readings").value_or(std::vector<double>{});
    std::vector<SupplyReading> readings;
    for (std::size_t k = 0; k + columns <= flat.size(); k += columns) {
        SupplyReading reading{flat[k], flat[k + 1], std::nullopt};
        if (!std::isnan(flat[k + 2])) reading.amperes = flat[k + 2];
        readings.push_back(reading);
    }
    return readings;
}

std::optional<analysis::SupplyCrossing> supply_cut_off(const Test& test) {
    const auto limit_v = test.number("end_supply_v");
    if (!limit_v) return std::nullopt;
    return analysis::supply_crossing(supply_readings(test), *limit_v, doubts_of(test).volts_v);
}

void add_supply_numbers(const Test& test, const HeldEnding& ending, Numbers& numbers) {
    const std::vector<SupplyReading> readings = supply_readings(test);
    if (readings.empty() && !test.number("end_supply_v")) return;
    if (!readings.empty()) {
        add_energy(test, readings, ending, numbers);
        analysis::Curve curve{{{"minutes"}, {"supply_v"}}};
        bool all = true;
        for (const SupplyReading& reading : readings) {
            curve.columns[0].values.push_back(reading.minute);
            curve.columns[1].values.push_back(reading.volts);
            all = all && reading.amperes;
        }
        if (all) {
            curve.columns.push_back({"supply_a"});
            for (const SupplyReading& reading : readings) curve.columns[2].values.push_back(*reading.amperes);
        }
        numbers.curves.emplace_back("supply", std::move(curve));
    }
    add_run_time(test, readings, ending, numbers);
}

}  // namespace assay::cli
