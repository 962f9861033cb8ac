#include "analysis/amplifier/supply_log.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace assay::analysis {

namespace {

struct Point {
    double minute = 0.0;
    double value = 0.0;
};

/// Area under straight lines, first and last value held to the ends; in value times minutes.
double area(const std::vector<Point>& points, double end) {
    double sum = points.front().value * points.front().minute;
    for (std::size_t k = 1; k < points.size(); ++k)
        sum += 0.5 * (points[k].value + points[k - 1].value) * (points[k].minute - points[k - 1].minute);
    return sum + points.back().value * (end - points.back().minute);
}

/// Standard uncertainty of that area from what lies between the readings and beyond them.
double area_doubt(const std::vector<Point>& points, double end) {
    std::vector<Point> fewer;
    for (std::size_t k = 0; k < points.size(); k += 2) fewer.push_back(points[k]);
    if (points.size() % 2 == 0) fewer.push_back(points.back());
    const Point& first = points.front();
    const Point& last = points.back();
    const double between = points.size() > 2 ? std::abs(area(points, end) - area(fewer, end)) / 3.0 : 0.0;
    const double before = 0.5 * std::abs(points[1].value - first.value) * first.minute;
    const double after = 0.5 * std::abs(last.value - points[points.size() - 2].value) * (end - last.minute);
    return std::hypot(between, before, after) / std::numbers::sqrt3;
}

/// The share of the area that each point carries, minutes.
std::vector<double> weights(const std::vector<Point>& points, double end) {
    std::vector<double> all;
    for (std::size_t k = 0; k < points.size(); ++k) {
        const double from = k == 0 ? -points[0].minute : points[k - 1].minute;
        const double to = k + 1 == points.size() ? 2.0 * end - points[k].minute : points[k + 1].minute;
        all.push_back(0.5 * (to - from));
    }
    return all;
}

/// The readings up to the end, and one there by a straight line where a later one is known.
std::vector<SupplyReading> until(std::span<const SupplyReading> readings, double end) {
    std::vector<SupplyReading> kept;
    for (const SupplyReading& reading : readings) {
        if (!reading.amperes) continue;
        if (reading.minute <= end) {
            kept.push_back(reading);
            continue;
        }
        if (!kept.empty() && kept.back().minute < end) {
            const SupplyReading& before = kept.back();
            const double share = (end - before.minute) / (reading.minute - before.minute);
            kept.push_back({end, before.volts + share * (reading.volts - before.volts),
                            *before.amperes + share * (*reading.amperes - *before.amperes)});
        }
        break;
    }
    return kept;
}

}  // namespace

std::optional<SupplyTotals> supply_totals(std::span<const SupplyReading> readings, double end_minutes,
                                          const SupplyDoubts& doubts) {
    const std::vector<SupplyReading> kept = until(readings, end_minutes);
    if (kept.size() < 2 || !(end_minutes > 0.0)) return std::nullopt;
    std::vector<Point> watts;
    std::vector<Point> amperes;
    for (const SupplyReading& reading : kept) {
        watts.push_back({reading.minute, reading.volts * *reading.amperes});
        amperes.push_back({reading.minute, *reading.amperes});
    }
    constexpr double hours = 1.0 / 60.0;
    SupplyTotals totals;
    totals.energy_wh = {hours * area(watts, end_minutes), "Wh", {}};
    totals.charge_ah = {hours * area(amperes, end_minutes), "Ah", {}};
    totals.covered = (kept.back().minute - kept.front().minute) / end_minutes;
    const std::vector<double> shares = weights(watts, end_minutes);
    double volts_square = 0.0;
    for (std::size_t k = 0; k < kept.size(); ++k)
        volts_square += std::pow(hours * shares[k] * *kept[k].amperes * doubts.volts_v, 2.0);
    const auto add = [](Quantity& quantity, const std::string& id, double doubt) {
        if (doubt > 0.0) quantity.contributions[id] = doubt;
    };
    add(totals.energy_wh, doubts.source + "supply-volts", std::sqrt(volts_square));
    add(totals.energy_wh, "supply:current", doubts.amperes_part * totals.energy_wh.value);
    add(totals.charge_ah, "supply:current", doubts.amperes_part * totals.charge_ah.value);
    add(totals.energy_wh, doubts.source + "between-readings", hours * area_doubt(watts, end_minutes));
    add(totals.charge_ah, doubts.source + "between-readings", hours * area_doubt(amperes, end_minutes));
    return totals;
}

std::optional<SupplyCrossing> supply_crossing(std::span<const SupplyReading> readings, double limit_v,
                                              double doubt_v) {
    for (std::size_t k = 0; k < readings.size(); ++k) {
        if (readings[k].volts > limit_v) continue;
        if (k == 0) return SupplyCrossing{readings[0].minute, readings[0].minute, 0.5 * readings[0].minute};
        const SupplyReading& before = readings[k - 1];
        const double between = readings[k].minute - before.minute;
        const double fall_v = before.volts - readings[k].volts;
        const double share = (before.volts - limit_v) / fall_v;
        SupplyCrossing crossing{before.minute + share * between, between, 0.0};
        // Each end of the line moves the crossing by its own share. The line itself may be a bow: a battery's
        // knee reaches a quarter of the way beside it, and the nearer reading is the most that it can miss.
        const double slope = between / fall_v;
        const double of_volts = doubt_v * slope * std::hypot(share, 1.0 - share);
        const double of_line = between * std::min({0.25, share, 1.0 - share}) / std::numbers::sqrt3;
        crossing.doubt_minutes = std::hypot(of_volts, of_line);
        return crossing;
    }
    return std::nullopt;
}

}  // namespace assay::analysis
