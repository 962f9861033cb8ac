// Rows of the table of power side by side: one channel against all, bridged against stereo, ohms, supply
// volts.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <tuple>

#include "cli/measures/judgement/rating.h"
#include "cli/report/basis.h"
#include "cli/report/power_table.h"

namespace assay::cli {
namespace {

using analysis::Quantity;

// Ohms, frequency and the volts of a rating's basis may differ as a claim may from its basis; the supplies of
// two rows by less, since power goes with their square.
constexpr double same_ohms = 0.05;
constexpr double same_frequency = 0.05;
constexpr double same_basis_volts = 0.05;
constexpr double same_supply = 0.02;

bool near(double a, double b, double part) {
    return std::abs(a - b) <= part * std::max(std::abs(a), std::abs(b)) * (1.0 + 1e-9);
}

/// The supply that was set: idle, else loaded.
std::optional<double> set_volts(const PowerRow& row) {
    return row.supply.idle_v ? row.supply.idle_v : row.supply.loaded_v;
}

bool supply_alike(const PowerRow& a, const PowerRow& b) {
    const auto left = set_volts(a);
    const auto right = set_volts(b);
    if (a.supply.idle_v.has_value() != b.supply.idle_v.has_value() || left.has_value() != right.has_value())
        return false;
    return !left || near(*left, *right, same_supply);
}

bool measured_alike(const PowerRow& a, const PowerRow& b) {
    if (a.by_meter || b.by_meter || a.limit_on != b.limit_on) return false;
    if (a.frequency_hz.has_value() != b.frequency_hz.has_value()) return false;
    return !a.frequency_hz || near(*a.frequency_hz, *b.frequency_hz, same_frequency);
}

bool all_stereo(const PowerRow& row) {
    return row.arrangement == Arrangement::one_channel || row.arrangement == Arrangement::channels_together;
}

/// Where a load hangs: its probes and what drives it. The same for loads of other ohms on the same channel.
using Place = std::tuple<std::size_t, std::optional<std::size_t>, std::vector<std::size_t>>;

std::vector<Place> places_of(const capture::Bench& bench, const PowerRow& row) {
    std::vector<Place> places;
    for (const PowerLoad& own : row.loads) {
        const capture::Load* load = find_load(bench, own.name);
        if (load != nullptr) places.emplace_back(load->plus, load->minus, load->driven_by);
    }
    std::sort(places.begin(), places.end());
    return places;
}

Quantity logarithm(const Quantity& ratio, double factor, const std::string& unit) {
    return analysis::combine(factor * std::log(ratio.value), unit, {{&ratio, factor / ratio.value}});
}

Quantity scaled(const Quantity& quantity, double factor, double offset, const std::string& unit) {
    return analysis::combine(offset + factor * quantity.value, unit, {{&quantity, factor}});
}

/// The sum of 1 / R over the loads, with their doubts: power goes with it on a stiff supply.
Quantity conductance(const capture::Bench& bench, const PowerRow& row) {
    Quantity sum{0.0, "1/ohm", {}};
    for (const PowerLoad& own : row.loads) {
        const double siemens = own.resistance_ohm > 0.0 ? 1.0 / own.resistance_ohm : 0.0;
        sum.value += siemens;
        const capture::Load* load = find_load(bench, own.name);
        if (load == nullptr) continue;
        for (const capture::RelativeDoubt& doubt : load->resistance_doubts)
            sum.contributions[doubt.source_id] -= siemens * doubt.relative;
    }
    return sum;
}

const Quantity* total_at(const PowerRow& row, const std::string& limit) {
    const PowerAtLimit* power = row.at(limit);
    return power != nullptr && power->total && power->total->value > 0.0 ? &*power->total : nullptr;
}

/// Watts of the load that hangs where `wanted` of `from` does, in ohms alike.
const Quantity* power_of(const capture::Bench& bench, const PowerRow& row, const PowerLoad& wanted,
                         const std::string& limit) {
    const PowerAtLimit* power = row.at(limit);
    const capture::Load* here = find_load(bench, wanted.name);
    if (power == nullptr || here == nullptr) return nullptr;
    for (std::size_t i = 0; i < row.loads.size() && i < power->loads.size(); ++i) {
        const capture::Load* load = find_load(bench, row.loads[i].name);
        if (load == nullptr || load->plus != here->plus || load->minus != here->minus) continue;
        if (load->driven_by != here->driven_by) continue;
        if (!near(row.loads[i].resistance_ohm, wanted.resistance_ohm, same_ohms)) continue;
        if (power->loads[i] && power->loads[i]->value > 0.0) return &*power->loads[i];
    }
    return nullptr;
}

void compare_channels(const Session& session, PowerTable& table, const std::string& limit) {
    for (const PowerRow& together : table.rows) {
        if (together.arrangement != Arrangement::channels_together) continue;
        for (const PowerLoad& load : together.loads) {
            for (const PowerRow& alone : table.rows) {
                if (alone.arrangement != Arrangement::one_channel || !measured_alike(alone, together) ||
                    !supply_alike(alone, together))
                    continue;
                const Quantity* one = power_of(session.bench, alone, load, limit);
                const Quantity* all = power_of(session.bench, together, load, limit);
                if (one == nullptr || all == nullptr) continue;
                const Quantity ratio = analysis::ratio(*all, *one, "");
                PowerLine line{
                    LineKind::channels, limit, {alone.test, together.test}, load.name, {}, {}, 0.0};
                line.figures.add("drop_db", logarithm(ratio, -10.0 / std::numbers::ln10, "dB"));
                line.figures.add("drop_percent", scaled(ratio, -100.0, 100.0, "%"));
                table.lines.push_back(std::move(line));
                break;  // the first of several like it
            }
        }
    }
}

/// The mean of the channels' ohms; nothing where they are not alike.
std::optional<double> ohms_of(const PowerRow& row) {
    double sum = 0.0;
    for (const PowerLoad& load : row.loads) {
        if (!near(load.resistance_ohm, row.loads.front().resistance_ohm, same_ohms)) return std::nullopt;
        sum += load.resistance_ohm;
    }
    if (row.loads.empty() || !(sum > 0.0) || !std::isfinite(sum)) return std::nullopt;
    return sum / static_cast<double>(row.loads.size());
}

void compare_bridged(PowerTable& table, const std::string& limit) {
    for (const PowerRow& bridged : table.rows) {
        const Quantity* watts = total_at(bridged, limit);
        const auto bridge_ohm = ohms_of(bridged);
        if (bridged.arrangement != Arrangement::bridged || bridged.loads.size() != 1 || !bridge_ohm ||
            watts == nullptr)
            continue;
        std::vector<PowerLine> lines;
        for (const PowerRow& stereo : table.rows) {
            const Quantity* total = total_at(stereo, limit);
            const auto ohm = ohms_of(stereo);
            if (!all_stereo(stereo) || stereo.loads.size() > 2 || total == nullptr || !ohm) continue;
            if (!measured_alike(bridged, stereo) || !supply_alike(bridged, stereo)) continue;
            // Into the same ohms, and into twice the ohms, where each channel works as hard as in stereo.
            const bool same = near(*bridge_ohm, *ohm, same_ohms);
            if (!same && !near(*bridge_ohm, 2.0 * *ohm, same_ohms)) continue;
            const double channels = static_cast<double>(stereo.loads.size());
            const Quantity over_total = analysis::ratio(*watts, *total, "");
            PowerLine line{
                LineKind::bridged,       limit, {stereo.test, bridged.test}, {}, {}, {*ohm, *bridge_ohm},
                4.0 * *ohm / *bridge_ohm};
            line.figures.add("over_channel", scaled(over_total, channels, 0.0, ""));
            if (stereo.loads.size() > 1) line.figures.add("over_stereo_total", over_total);
            lines.push_back(std::move(line));
        }
        // A channel alone stands in only where both together were not measured into such ohms.
        for (const PowerLine& line : lines) {
            const bool alone = line.figures.find("over_stereo_total") == nullptr;
            const bool better = std::any_of(lines.begin(), lines.end(), [&](const PowerLine& other) {
                return other.figures.find("over_stereo_total") != nullptr &&
                       near(other.from[0], line.from[0], same_ohms);
            });
            if (!alone || !better) table.lines.push_back(line);
        }
    }
}

void compare_ohms(const Session& session, PowerTable& table, const std::string& limit) {
    std::vector<const PowerRow*> rows;
    for (const PowerRow& row : table.rows) {
        const bool alike = all_stereo(row) || row.arrangement == Arrangement::bridged;
        if (alike && ohms_of(row) && total_at(row, limit) != nullptr) rows.push_back(&row);
    }
    std::stable_sort(rows.begin(), rows.end(),
                     [](const PowerRow* a, const PowerRow* b) { return *ohms_of(*a) > *ohms_of(*b); });
    std::vector<PowerLine> lines;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const PowerRow& high = *rows[i];
        for (std::size_t j = i + 1; j < rows.size(); ++j) {
            const PowerRow& low = *rows[j];
            if (low.arrangement != high.arrangement || !measured_alike(low, high) ||
                !supply_alike(low, high) || near(*ohms_of(low), *ohms_of(high), same_ohms) ||
                places_of(session.bench, low) != places_of(session.bench, high))
                continue;
            const Quantity ratio = analysis::ratio(*total_at(low, limit), *total_at(high, limit), "");
            const Quantity stiff =
                analysis::ratio(conductance(session.bench, low), conductance(session.bench, high), "");
            PowerLine line{
                LineKind::ohms, limit, {high.test, low.test}, {}, {}, {*ohms_of(high), *ohms_of(low)},
                stiff.value};
            line.figures.add("power_ratio", ratio);
            line.figures.add("of_doubling_percent",
                             scaled(analysis::ratio(ratio, stiff, ""), 100.0, 0.0, "%"));
            lines.push_back(std::move(line));
            break;  // the next step of the ladder only
        }
    }
    table.lines.insert(table.lines.end(), lines.begin(), lines.end());
}

/// Slope of log power against log volts by least squares. Its derivatives are exact, so that a scale which
/// all points share cancels.
Quantity exponent_of(const std::vector<const PowerRow*>& rows, const std::string& limit) {
    const double count = static_cast<double>(rows.size());
    std::vector<double> x;
    std::vector<double> y;
    double mean_x = 0.0;
    double mean_y = 0.0;
    for (const PowerRow* row : rows) {
        x.push_back(std::log(*working_volts(row->supply)));
        y.push_back(std::log(total_at(*row, limit)->value));
        mean_x += x.back() / count;
        mean_y += y.back() / count;
    }
    double xx = 0.0;
    double xy = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        xx += (x[i] - mean_x) * (x[i] - mean_x);
        xy += (x[i] - mean_x) * (y[i] - mean_y);
    }
    const double slope = xy / xx;
    Quantity exponent{slope, "", {}};
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const Quantity& power = *total_at(*rows[i], limit);
        const double by_power = (x[i] - mean_x) / xx / power.value;
        for (const auto& [id, contribution] : power.contributions)
            exponent.contributions[id] += by_power * contribution;
        const SupplyReadings& supply = rows[i]->supply;
        if (!(supply.doubt_v > 0.0)) continue;
        const double by_volts = ((y[i] - mean_y) - 2.0 * slope * (x[i] - mean_x)) / xx;
        const std::string which = supply.loaded_v ? "loaded" : "idle";
        exponent.contributions["test:" + rows[i]->test + ":supply-" + which + "-v"] +=
            by_volts * supply.doubt_v / *working_volts(supply);
    }
    return exponent;
}

std::vector<std::string> names_of(const PowerRow& row) {
    std::vector<std::string> names;
    for (const PowerLoad& load : row.loads) names.push_back(load.name);
    std::sort(names.begin(), names.end());
    return names;
}

void compare_supplies(PowerTable& table, const std::string& limit) {
    std::vector<const PowerRow*> left;
    for (const PowerRow& row : table.rows) {
        const auto volts = working_volts(row.supply);
        if (!row.by_meter && volts && *volts > 0.0 && total_at(row, limit) != nullptr) left.push_back(&row);
    }
    while (!left.empty()) {
        // All that differ from the first in nothing but the supply; of equal supplies the first one.
        const PowerRow& first = *left.front();
        std::vector<const PowerRow*> group;
        std::erase_if(left, [&](const PowerRow* row) {
            const bool alike = names_of(*row) == names_of(first) && measured_alike(*row, first) &&
                               row->supply.idle_v.has_value() == first.supply.idle_v.has_value() &&
                               row->supply.loaded_v.has_value() == first.supply.loaded_v.has_value();
            if (!alike) return false;
            const bool again = std::any_of(group.begin(), group.end(), [&](const PowerRow* other) {
                return near(*set_volts(*row), *set_volts(*other), same_supply);
            });
            if (!again) group.push_back(row);
            return true;
        });
        if (group.size() < 2) continue;
        std::stable_sort(group.begin(), group.end(), [](const PowerRow* a, const PowerRow* b) {
            return *working_volts(a->supply) > *working_volts(b->supply);
        });
        PowerLine line{LineKind::supply, limit, {}, {}, {}, {}, 0.0};
        for (const PowerRow* row : group) {
            line.tests.push_back(row->test);
            line.from.push_back(*working_volts(row->supply));
        }
        if (near(line.from.front(), line.from.back(), same_supply)) continue;
        line.figures.add("exponent", exponent_of(group, limit));
        table.lines.push_back(std::move(line));
    }
}

/// The supply that the rating's basis wants, as near to `volts` as it allows.
std::optional<double> wanted_volts(const Session& session, double volts) {
    const RatingBasis* basis = session.rating ? find_rating_basis(session.rating->basis) : nullptr;
    if (basis == nullptr) return std::nullopt;
    return std::clamp(volts, basis->supply_low_v, basis->supply_high_v);
}

/// An estimate by the square of the volts, for supplies other than that of the rating's basis. A unit that
/// was seen not to follow its supply gets none.
void project(const Session& session, PowerTable& table, const std::string& limit) {
    constexpr double follows = 1.5;  // of 2, where the exponent is known
    constexpr double largest_step = 1.35;
    std::vector<PowerLine> lines;
    for (const PowerRow& row : table.rows) {
        const auto volts = working_volts(row.supply);
        const Quantity* total = total_at(row, limit);
        const auto wanted = volts && *volts > 0.0 ? wanted_volts(session, *volts) : std::nullopt;
        if (!wanted || total == nullptr || row.by_meter || near(*volts, *wanted, same_basis_volts)) continue;
        const bool measured = std::any_of(table.rows.begin(), table.rows.end(), [&](const PowerRow& other) {
            const auto there = working_volts(other.supply);
            return names_of(other) == names_of(row) && there && near(*there, *wanted, same_basis_volts) &&
                   total_at(other, limit) != nullptr;
        });
        const double step = *wanted / *volts;
        if (measured || step > largest_step || step < 1.0 / largest_step) continue;
        PowerLine line{LineKind::projection, limit, {row.test}, {}, {}, {*volts, *wanted}, step * step};
        const bool regulated =
            std::any_of(table.lines.begin(), table.lines.end(), [&](const PowerLine& other) {
                const Quantity* exponent = other.figures.find("exponent");
                return exponent != nullptr && other.limit == limit && exponent->value < follows &&
                       std::find(other.tests.begin(), other.tests.end(), row.test) != other.tests.end();
            });
        if (regulated) {
            line.figures.absent.emplace_back(
                "estimated_w", analysis::Absent{"regulated", "the unit does not follow its supply",
                                                "measure it at the supply that is wanted"});
        } else {
            Quantity estimate = scaled(*total, step * step, 0.0, "W");
            if (row.supply.doubt_v > 0.0) {
                const std::string which = row.supply.loaded_v ? "loaded" : "idle";
                estimate.contributions["test:" + row.test + ":supply-" + which + "-v"] -=
                    2.0 * estimate.value * row.supply.doubt_v / *volts;
            }
            line.figures.add("estimated_w", estimate);
        }
        lines.push_back(std::move(line));
    }
    table.lines.insert(table.lines.end(), lines.begin(), lines.end());
}

}  // namespace

void add_power_lines(const Session& session, PowerTable& table) {
    for (const std::string& limit : limits_of(table)) {
        compare_channels(session, table, limit);
        compare_bridged(table, limit);
        compare_ohms(session, table, limit);
        compare_supplies(table, limit);
        project(session, table, limit);
    }
}

}  // namespace assay::cli
