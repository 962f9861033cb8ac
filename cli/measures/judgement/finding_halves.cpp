// Halves that do not clip alike, and channels that do not.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/measures/judgement/clip_readings.h"

namespace assay::cli {
namespace {

// Common practice, no source: halves of a sound stage clip within a few per cent of each other.
constexpr double uneven_db = 0.5;
constexpr double even_db = 0.25;
constexpr double weak_db = 0.7;        // of volts, 15 % of power
constexpr double gain_apart_db = 1.0;  // between channels; DIN 45500 would allow 3 dB
constexpr double same_drive_db = 0.2;  // at which both channels flatten
constexpr double gain_differs_db = 0.5;

/// Positive half over negative, or nothing where one of them did not clip, or the wave is no sine before.
std::optional<double> unevenness_db(const ClipReading& reading) {
    if (!reading.positive_v || !reading.negative_v || !reading.clean_below_clip) return std::nullopt;
    return analysis::decibels(*reading.positive_v / *reading.negative_v);
}

std::vector<Evidence> both_halves(const ClipReading& reading) {
    const std::string at = " into " + load_words(reading);
    return {
        {"peak where the positive half clips" + at, *reading.positive_v, "V", reading.test, reading.load},
        {"peak where the negative half clips" + at, *reading.negative_v, "V", reading.test, reading.load}};
}

/// The channel's first reading that shows its unevenness, if all its readings agree.
struct Uneven {
    const ClipReading* reading = nullptr;
    double db = 0.0;
};

std::optional<Uneven> channel_unevenness(const std::vector<ClipReading>& readings,
                                         std::pair<std::size_t, std::size_t> channel) {
    std::optional<Uneven> first;
    for (const ClipReading& reading : readings) {
        if (reading.channel != channel || reading.bridged) continue;
        const auto db = unevenness_db(reading);
        if (!db) continue;
        if (!first) {
            first = {&reading, *db};
        } else if (*db * first->db < 0.0) {
            return Uneven{first->reading, 0.0};  // it changes sides: nothing steady
        }
    }
    return first;
}

std::string weak_half(double db) {
    return db < 0.0 ? "positive" : "negative";
}

}  // namespace

void find_uneven_halves(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    std::vector<Uneven> channels;
    for (const auto& channel : channels_of(readings)) {
        if (const auto uneven = channel_unevenness(readings, channel)) channels.push_back(*uneven);
    }
    std::vector<Uneven> weak;
    for (const Uneven& one : channels) {
        if (std::abs(one.db) > uneven_db) weak.push_back(one);
    }
    if (weak.empty()) return;
    const Uneven& first = weak.front();
    std::vector<Evidence> evidence;
    for (const Uneven& one : channels) {
        for (const Evidence& figure : both_halves(*one.reading)) evidence.push_back(figure);
    }
    const double less_percent = 100.0 * (1.0 - analysis::ratio_from_decibels(-std::abs(first.db)));
    const std::string half = weak_half(first.db);
    if (channels.size() == 1) {
        found.push_back(
            {"uneven-halves",
             fmt::format("The {} half clips {:.0f} % before the other. Whether a rail of the supply or "
                         "half of the output stage is weak cannot be told from one channel.",
                         half, less_percent),
             evidence, Confidence::cannot_tell,
             "Measure the other channel: if its " + half +
                 " half is weak too, it is the rail; if not, it is this channel's output stage."});
        return;
    }
    const bool all =
        weak.size() == channels.size() &&
        std::all_of(weak.begin(), weak.end(), [&](const Uneven& one) { return one.db * first.db > 0.0; });
    if (all) {
        found.push_back(
            {"weak-rail",
             fmt::format("The {} rail is weak: in all channels the {} half clips {:.0f} % before the other, "
                         "and power ends where the weaker half does.",
                         half, half, less_percent),
             evidence, Confidence::clear,
             "Compare both rails with a meter while the unit plays loud; look at rectifier, regulator and "
             "capacitor of the " +
                 half + " one. Supply capacitors stay charged: qualified hands only."});
        return;
    }
    const auto even = static_cast<std::size_t>(std::count_if(
        channels.begin(), channels.end(), [](const Uneven& one) { return std::abs(one.db) < even_db; }));
    if (weak.size() + even != channels.size()) return;  // neither even nor uneven: nothing is said
    for (const Uneven& one : weak) {
        found.push_back(
            {"weak-half",
             fmt::format("One half of the output stage at {} is weak: its {} half clips {:.0f} % before the "
                         "other, while another channel on the same rails clips evenly.",
                         one.reading->load, weak_half(one.db),
                         100.0 * (1.0 - analysis::ratio_from_decibels(-std::abs(one.db)))),
             evidence, Confidence::likely,
             "Look at the output devices, emitter resistors and drivers of that half of that channel."});
    }
}

void find_unequal_channels(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    const std::vector<ChannelPair> pairs = pairs_of(readings);
    if (pairs.empty()) return;
    const ClipReading& a = *pairs.front().first;
    const ClipReading& b = *pairs.front().second;
    const auto source_a = source_resistance(readings, a.channel);
    const auto source_b = source_resistance(readings, b.channel);
    // What a source resistance takes is taken back, so that one bad contact is not read as a weak channel
    // too.
    const auto lost_db = [](const std::optional<SourceResistance>& source, const ClipReading& reading) {
        return source ? analysis::decibels(1.0 + std::max(source->ohm, 0.0) / reading.load_ohm) : 0.0;
    };
    const double taken_db = lost_db(source_a, a) - lost_db(source_b, b);
    std::optional<double> gain_db;
    if (a.gain_db && b.gain_db) gain_db = *a.gain_db - *b.gain_db + taken_db;
    if (gain_db && std::abs(*gain_db) > gain_apart_db) {
        found.push_back(
            {"gain-imbalance",
             fmt::format("The channels differ by {:.1f} dB in gain, apart from what they can give: {} is the "
                         "quieter one.",
                         std::abs(*gain_db), *gain_db < 0.0 ? a.load : b.load),
             {gain_evidence(a), gain_evidence(b)},
             Confidence::likely,
             "Set both gain or balance controls alike, turn them to and fro a few times, swap the input "
             "leads, and repeat: what stays is the unit's."});
    }
    if (!a.positive_v || !b.positive_v || !a.negative_v || !b.negative_v) return;
    const double positive_db = analysis::decibels(*a.positive_v / *b.positive_v) + taken_db;
    const double negative_db = analysis::decibels(*a.negative_v / *b.negative_v) + taken_db;
    if (positive_db * negative_db < 0.0) return;
    const double volts_db = std::abs(positive_db) < std::abs(negative_db) ? positive_db : negative_db;
    if (std::abs(volts_db) < gain_differs_db) return;
    if (gain_db && std::abs(*gain_db) > gain_differs_db && std::abs(volts_db - *gain_db) < same_drive_db) {
        // Both flatten at one level of what is played, though their volts differ.
        if (!source_a || !source_b) return;  // a bad contact would look alike: other loads have to tell
        found.push_back(
            {"source-clips",
             "What flattens lies before the gain of the channels: both flatten at the same level of the "
             "player, though their volts differ as their gains do. The unit's own limit was not reached.",
             {ceiling_evidence(a), ceiling_evidence(b), gain_evidence(a), gain_evidence(b)},
             Confidence::likely,
             "Turn the unit's gain up and the player down, and repeat: if the unit gives more, the player or "
             "the unit's input stage was what clipped."});
        return;
    }
    if (std::abs(volts_db) < weak_db || !a.clean_below_clip || !b.clean_below_clip) return;
    found.push_back(
        {"weak-channel",
         fmt::format("One channel is weak: {} clips at {:.0f} % less than the other, both halves alike, with "
                     "both driven into equal loads.",
                     volts_db < 0.0 ? a.load : b.load,
                     100.0 * (1.0 - analysis::ratio_from_decibels(-std::abs(volts_db)))),
         {ceiling_evidence(a), ceiling_evidence(b)},
         Confidence::likely,
         "Swap the loads and the probes and repeat, so that neither of them is at fault; then look at this "
         "channel's driver stage and its feed from the supply."});
}

}  // namespace assay::cli
