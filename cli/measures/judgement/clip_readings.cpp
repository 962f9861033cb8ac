#include "cli/measures/judgement/clip_readings.h"

#include <fmt/format.h>

#include <algorithm>
#include <numbers>

#include "analysis/units.h"
#include "capture/find_load.h"
#include "cli/measures/conditions.h"

namespace assay::cli {
namespace {

std::optional<double> value_of(const Numbers& numbers, const std::string& name) {
    const analysis::Quantity* quantity = numbers.find(name);
    return quantity == nullptr ? std::nullopt : std::optional<double>(quantity->value);
}

const analysis::Curve* level_curve_of(const Numbers& numbers) {
    for (const auto& [name, curve] : numbers.curves) {
        if (name == "level") return &curve;
    }
    return nullptr;
}

/// Whether the wave stays a sine until it flattens: then the flattening is a ceiling and nothing else.
bool clean_below(const analysis::Curve& curve, double ceiling_v) {
    constexpr double below = 0.84;         // 1.5 dB under the ceiling
    constexpr double clean_percent = 0.5;  // common practice, no source: ordinary amplifiers stay below it
    const auto* volts = curve.find("voltage_v");
    const auto* distortion = curve.find("thd_percent");
    if (volts == nullptr || distortion == nullptr) return false;
    const double highest_v = below * ceiling_v / std::numbers::sqrt2;
    std::optional<double> last;
    for (std::size_t k = 0; k < volts->size() && k < distortion->size(); ++k) {
        if ((*volts)[k] <= highest_v) last = (*distortion)[k];
    }
    return last && *last < clean_percent;
}

/// Doubt of the gain that is this test's own; the probe's scale is shared by all tests of the channel.
double own_doubt_db(const analysis::Quantity& gain, const std::string& test) {
    double square = 0.0;
    for (const auto& [source, part] : gain.contributions) {
        if (source.starts_with("test:" + test + ":")) square += part * part;
    }
    return analysis::Quantity::coverage_factor * std::sqrt(square);
}

ClipReading reading_of(const capture::Load& load, const TestedResult& test, const Numbers& numbers) {
    ClipReading reading;
    reading.test = test.id;
    reading.load = load.name;
    reading.load_ohm = load.resistance_ohm;
    reading.channel = {load.plus, load.minus ? *load.minus + 1 : 0};
    reading.bridged = load.bridged();
    reading.together = test.result->loads.size();
    reading.numbers = &numbers;
    reading.gain_db = value_of(numbers, "gain_db");
    if (reading.gain_db) reading.gain_doubt_db = own_doubt_db(*numbers.find("gain_db"), test.id);
    reading.positive_v = value_of(numbers, "clip_onset_positive_v");
    reading.negative_v = value_of(numbers, "clip_onset_negative_v");
    reading.vanished = std::any_of(numbers.warnings.begin(), numbers.warnings.end(),
                                   [](const Warning& warning) { return warning.code == "tone-vanished"; });
    reading.supply_idle_v = condition_of<double>(test.result->conditions, "supply_idle_v");
    reading.supply_loaded_v = condition_of<double>(test.result->conditions, "supply_loaded_v");
    if (const analysis::Curve* curve = level_curve_of(numbers)) {
        const auto* volts = curve->find("voltage_v");
        if (volts != nullptr && !volts->empty())
            reading.top_v = *std::max_element(volts->begin(), volts->end());
        if (const auto ceiling = reading.ceiling_v())
            reading.clean_below_clip = clean_below(*curve, *ceiling);
    }
    return reading;
}

}  // namespace

std::optional<double> ClipReading::ceiling_v() const {
    if (positive_v && negative_v) return std::min(*positive_v, *negative_v);
    return positive_v ? positive_v : negative_v;
}

std::vector<ClipReading> clip_readings(const capture::Bench& bench, const std::vector<TestedResult>& tests) {
    std::vector<ClipReading> readings;
    for (std::size_t order = 0; order < tests.size(); ++order) {
        const TestResult& result = *tests[order].result;
        if (result.measure != "clipping-power" || result.fault) continue;
        for (const auto& named : result.loads) {
            const capture::Load* load = find_load(bench, named.first);
            if (load == nullptr || !std::isfinite(load->resistance_ohm)) continue;
            readings.push_back(reading_of(*load, tests[order], named.second));
            readings.back().order = order;
        }
    }
    return readings;
}

std::vector<std::pair<std::size_t, std::size_t>> channels_of(const std::vector<ClipReading>& readings) {
    std::vector<std::pair<std::size_t, std::size_t>> channels;
    for (const ClipReading& reading : readings) {
        if (std::find(channels.begin(), channels.end(), reading.channel) == channels.end())
            channels.push_back(reading.channel);
    }
    return channels;
}

std::optional<SourceResistance> source_resistance(const std::vector<ClipReading>& readings,
                                                  std::pair<std::size_t, std::size_t> channel) {
    SourceResistance source;
    for (const ClipReading& reading : readings) {
        if (reading.channel != channel || !reading.gain_db) continue;
        if (source.high == nullptr || reading.load_ohm > source.high->load_ohm) source.high = &reading;
        if (source.low == nullptr || reading.load_ohm < source.low->load_ohm) source.low = &reading;
    }
    constexpr double apart = 1.5;  // loads that are too alike tell nothing
    if (source.high == nullptr || source.high->load_ohm < apart * source.low->load_ohm) return std::nullopt;
    const double high = source.high->load_ohm;
    const double low = source.low->load_ohm;
    const auto solve = [&](double fall_db) {
        const double ratio = analysis::ratio_from_decibels(fall_db);
        return high * low * (ratio - 1.0) / (high - ratio * low);
    };
    const double fall_db = *source.high->gain_db - *source.low->gain_db;
    if (analysis::ratio_from_decibels(fall_db) * low > 0.9 * high)
        return std::nullopt;  // no divider does that
    source.ohm = solve(fall_db);
    source.doubt_ohm = std::abs(
        solve(fall_db + std::hypot(source.high->gain_doubt_db, source.low->gain_doubt_db)) - source.ohm);
    return source;
}

std::vector<ChannelPair> pairs_of(const std::vector<ClipReading>& readings) {
    constexpr double alike = 0.05;  // the 5 % within which a claim's basis counts as the same
    std::vector<ChannelPair> pairs;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        for (std::size_t j = i + 1; j < readings.size(); ++j) {
            const ClipReading& a = readings[i];
            const ClipReading& b = readings[j];
            if (a.order != b.order || a.bridged || b.bridged || a.channel == b.channel) continue;
            if (std::abs(a.load_ohm / b.load_ohm - 1.0) < alike) pairs.push_back({&a, &b});
        }
    }
    std::stable_sort(pairs.begin(), pairs.end(), [](const ChannelPair& a, const ChannelPair& b) {
        return a.first->load_ohm > b.first->load_ohm;
    });
    return pairs;
}

std::string load_words(const ClipReading& reading) {
    return fmt::format(
        "{:.3g} ohm, {} driven", reading.load_ohm,
        reading.together == 1 ? "this channel alone" : fmt::format("{} channels", reading.together));
}

Evidence ceiling_evidence(const ClipReading& reading) {
    return {"peak where it starts to clip into " + load_words(reading), reading.ceiling_v().value_or(0.0),
            "V", reading.test, reading.load};
}

Evidence gain_evidence(const ClipReading& reading) {
    return {"gain into " + load_words(reading), reading.gain_db.value_or(0.0), "dB", reading.test,
            reading.load};
}

}  // namespace assay::cli
