#include "cli/comparison/comparison.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string_view>

#include "analysis/units.h"
#include "cli/comparison/paired_curve.h"
#include "cli/comparison/shared_sources.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using analysis::Verdict;

// What was set or typed rather than found, and what is near zero by nature.
constexpr std::array<std::string_view, 3> not_judged{"volts_at_resonance_v", "sd_cm2", "creep_lambda"};

// Conditions that change what an honest unit does.
constexpr std::array<std::string_view, 12> telling_conditions{
    {"supply_idle_v", "supply_loaded_v", "case_temperature_c", "temperature_c", "pressure_hpa",
     "frequency_hz", "channels_driven", "limit_on", "drive_dbfs", "volts_at_resonance_v",
     "effective_diameter_mm", "coil_model"}};
constexpr double same_condition = 0.02;
constexpr double last_bits_percent = 1e-11;

/// The quantity with the causes that the other session does not share under a name of their own.
Quantity apart(const Quantity& quantity, const std::string& side, const std::set<std::string>& parts) {
    Quantity renamed{quantity.value, quantity.unit, {}};
    for (const auto& [id, contribution] : quantity.contributions) {
        renamed.contributions[is_shared(id, parts) ? id : side + id] = contribution;
    }
    return renamed;
}

std::optional<Quantity> in_percent(const Quantity& left, const Quantity& right, const Quantity& difference) {
    if (left.unit == "dB") {
        // 20 log10 of a ratio of voltages or pressures.
        const double ratio = analysis::ratio_from_decibels(difference.value);
        return analysis::combine(100.0 * (ratio - 1.0), "%",
                                 {{&difference, 100.0 * ratio * std::numbers::ln10 / 20.0}});
    }
    if (left.unit == "%" || !(left.value > 0.0) || !(right.value > 0.0)) return std::nullopt;
    Quantity percent = analysis::combine(
        100.0 * difference.value / left.value, "%",
        {{&right, 100.0 / left.value}, {&left, -100.0 * right.value / (left.value * left.value)}});
    // What both sessions share cancels but for the last bits of the arithmetic, and those are no doubt.
    std::erase_if(percent.contributions,
                  [](const auto& entry) { return std::abs(entry.second) < last_bits_percent; });
    return percent;
}

struct Pair {
    const Numbers& left;
    const Numbers& right;
    std::string test{};
    std::string load{};
};

void compare_quantities(const Pair& pair, const std::set<std::string>& parts, Comparison& comparison) {
    for (const auto& [name, quantity] : pair.left.quantities) {
        const Quantity* other = pair.right.find(name);
        if (other == nullptr || other->unit != quantity.unit) continue;
        ComparedQuantity compared{pair.test, pair.load, name, quantity, *other, {}, {}, {}};
        const Quantity left = apart(quantity, "left:", parts);
        const Quantity right = apart(*other, "right:", parts);
        compared.difference = analysis::difference(right, left);
        compared.percent = in_percent(left, right, compared.difference);
        const bool judged = std::find(not_judged.begin(), not_judged.end(), name) == not_judged.end();
        if (comparison.within_percent && compared.percent && judged) {
            const double within = *comparison.within_percent;
            compared.matched = analysis::judge(*compared.percent, {-within, within});
        }
        comparison.quantities.push_back(std::move(compared));
    }
}

void compare_curves(const Pair& pair, Comparison& comparison) {
    for (const auto& [name, curve] : pair.left.curves) {
        const auto other =
            std::find_if(pair.right.curves.begin(), pair.right.curves.end(),
                         [&, &wanted = name](const auto& entry) { return entry.first == wanted; });
        if (other == pair.right.curves.end()) continue;
        const auto paired = paired_curve(curve, other->second);
        if (!paired) continue;
        ComparedCurve compared{pair.test, pair.load, name, paired->impedance ? "%" : "dB"};
        compared.points = paired->points.size();
        compared.interpolated = paired->interpolated;
        compared.from_hz = paired->points.front().frequency_hz;
        compared.to_hz = paired->points.back().frequency_hz;
        double squares = 0.0;
        for (const PairedPoint& point : paired->points) {
            const double off =
                paired->impedance ? std::abs(point.ratio_percent()) : std::abs(point.difference_db());
            squares += off * off;
            if (off > compared.worst) {
                compared.worst = off;
                compared.worst_hz = point.frequency_hz;
            }
        }
        compared.rms = std::sqrt(squares / static_cast<double>(compared.points));
        comparison.curves.push_back(compared);
    }
}

bool differs(const Condition& left, const Condition& right) {
    const auto* here = std::get_if<double>(&left);
    const auto* there = std::get_if<double>(&right);
    if (here == nullptr || there == nullptr) return left != right;
    return std::abs(*here - *there) > same_condition * std::max(std::abs(*here), std::abs(*there));
}

void compare_conditions(const TestRecord& left, const TestRecord& right, Comparison& comparison) {
    for (const auto& [name, here] : left.result.conditions) {
        const bool telling =
            name.starts_with("load_ohm.") ||
            std::find(telling_conditions.begin(), telling_conditions.end(), name) != telling_conditions.end();
        if (!telling) continue;
        for (const auto& [other, there] : right.result.conditions) {
            if (other == name && differs(here, there)) {
                comparison.conditions.push_back({left.id, name, here, there});
            }
        }
    }
}

void compare_tests(const TestRecord& left, const TestRecord& right, const std::set<std::string>& parts,
                   Comparison& comparison) {
    if (left.result.measure != right.result.measure) {
        comparison.remarks.push_back("test " + left.id + " is " + left.result.measure + " on the left and " +
                                     right.result.measure + " on the right");
        return;
    }
    for (const auto& [side, record] : {std::pair{"left", &left}, {"right", &right}}) {
        if (record->result.fault) {
            comparison.remarks.push_back("test " + left.id + " has no numbers on the " + side +
                                         ": its capture cannot be trusted");
        }
    }
    for (const auto& [name, numbers] : left.result.loads) {
        const Numbers* other = right.result.load(name);
        if (other == nullptr) {
            comparison.remarks.push_back("test " + left.id + " has load " + name + " on the left only");
            continue;
        }
        const Pair pair{numbers, *other, left.id, name};
        compare_quantities(pair, parts, comparison);
        compare_curves(pair, comparison);
    }
    const Pair whole{left.result.whole, right.result.whole, left.id, {}};
    compare_quantities(whole, parts, comparison);
    compare_curves(whole, comparison);
    compare_conditions(left, right, comparison);
}

std::optional<Verdict> all_matched(const std::vector<ComparedQuantity>& quantities) {
    std::optional<Verdict> all;
    for (const ComparedQuantity& compared : quantities) {
        if (!compared.matched) continue;
        if (*compared.matched == Verdict::not_met) return Verdict::not_met;
        if (!all || *compared.matched == Verdict::undecided) all = compared.matched;
    }
    return all;
}

}  // namespace

Comparison compare(const Session& left, const Session& right, std::optional<double> within_percent) {
    Comparison comparison;
    comparison.within_percent = within_percent;
    const std::set<std::string> parts = shared_parts(left.bench, right.bench);
    for (const TestRecord& record : left.tests) {
        if (const TestRecord* other = right.find(record.id)) {
            compare_tests(record, *other, parts, comparison);
        } else {
            comparison.remarks.push_back("test " + record.id + " stands on the left only");
        }
    }
    for (const TestRecord& record : right.tests) {
        if (left.find(record.id) == nullptr) {
            comparison.remarks.push_back("test " + record.id + " stands on the right only");
        }
    }
    comparison.matched = all_matched(comparison.quantities);
    return comparison;
}

}  // namespace assay::cli
