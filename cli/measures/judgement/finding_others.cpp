// Findings that one power test shows by itself: never clipped, cut out, a dead zone; and a source resistance.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/measures/judgement/clip_readings.h"

namespace assay::cli {
namespace {

// Common practice, no source: a damping factor below 16 into 4 ohm is more than leads and a healthy output
// have.
constexpr double high_source_ohm = 0.25;

bool warned(const ClipReading& reading, const std::string& code) {
    return std::any_of(reading.numbers->warnings.begin(), reading.numbers->warnings.end(),
                       [&](const Warning& warning) { return warning.code == code; });
}

}  // namespace

void find_source_resistance(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    std::vector<Evidence> evidence;
    std::string where;
    double highest_ohm = 0.0;
    std::size_t measured = 0;
    std::size_t high = 0;
    for (const auto& channel : channels_of(readings)) {
        const auto source = source_resistance(readings, channel);
        if (!source) continue;
        ++measured;
        if (source->ohm - source->doubt_ohm < high_source_ohm) continue;
        ++high;
        highest_ohm = std::max(highest_ohm, source->ohm);
        evidence.push_back(
            {"resistance in the output's way", source->ohm, "ohm", source->low->test, source->low->load});
        evidence.push_back(gain_evidence(*source->high));
        evidence.push_back(gain_evidence(*source->low));
        where += (where.empty() ? "" : " and ") + source->low->load;
    }
    if (high == 0) return;
    found.push_back(
        {"output-resistance",
         fmt::format(
             "About {:.2g} ohm lie between the unit and the load at {}: the gain falls as the load gets "
             "smaller. Watts are lost there, and turn into heat.",
             highest_ohm, where),
         evidence, Confidence::likely,
         high < measured ? "Clean and tighten terminals, plugs and leads of that channel, then repeat; if it "
                           "stays, look at its relay contacts and output coil. Bad contacts get hot."
                         : "Check leads, terminals and plugs first, then repeat; if it stays, look at relay "
                           "contacts. A valve or current-driven output has such a resistance by design."});
}

void find_no_clip(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    std::vector<Evidence> evidence;
    std::string where;
    for (const auto& channel : channels_of(readings)) {
        const ClipReading* loudest = nullptr;
        bool reached = false;
        for (const ClipReading& reading : readings) {
            if (reading.channel != channel) continue;
            const bool limit =
                std::any_of(reading.numbers->quantities.begin(), reading.numbers->quantities.end(),
                            [](const auto& entry) { return entry.first.starts_with("power_at_"); });
            reached = reached || reading.ceiling_v() || reading.vanished || limit ||
                      warned(reading, "input-overload");
            if (loudest == nullptr || reading.top_v > loudest->top_v) loudest = &reading;
        }
        if (reached || loudest == nullptr || loudest->top_v <= 0.0) continue;
        evidence.push_back(
            {"volts at the loudest step, not clipped", loudest->top_v, "V", loudest->test, loudest->load});
        where += (where.empty() ? "" : " and ") + loudest->load;
    }
    if (evidence.empty()) return;
    found.push_back(
        {"source-too-low",
         fmt::format(
             "The unit was never driven to its limit at {}: nothing flattened up to the loudest step. What "
             "it can give was not measured; the watts seen are no sign of weakness.",
             where),
         evidence, Confidence::clear,
         "Turn the unit's gain up, or allow the player more (maximum_volts, to_dbfs), and repeat; if its "
         "gain is up already, compare its gain with its data sheet."});
}

void find_protection(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    std::vector<Evidence> evidence;
    const ClipReading* first = nullptr;
    for (const ClipReading& reading : readings) {
        if (!reading.vanished) continue;
        if (first == nullptr) first = &reading;
        evidence.push_back({"volts before the tone went away, into " + load_words(reading), reading.top_v,
                            "V", reading.test, reading.load});
    }
    if (first == nullptr) return;
    std::string held;
    for (const ClipReading& reading : readings) {
        if (!reading.vanished && reading.channel == first->channel &&
            reading.load_ohm > 1.2 * first->load_ohm && reading.ceiling_v()) {
            held = fmt::format(", while into {:.3g} ohm it plays on into clipping", reading.load_ohm);
            evidence.push_back(ceiling_evidence(reading));
            break;
        }
    }
    found.push_back(
        {"protection",
         fmt::format(
             "The output cuts out: into {:.3g} ohm the tone goes away at {:.3g} V and {:.3g} A peak{}.",
             first->load_ohm, first->top_v, std::sqrt(2.0) * first->top_v / first->load_ohm, held),
         evidence, held.empty() ? Confidence::likely : Confidence::clear,
         "See whether its protection lamp lights, and check leads and plugs. Let it cool, then repeat into a "
         "higher load. A unit that cuts out into a load that it is rated for wants its protection circuit, "
         "bias and output devices looked at."});
}

void find_crossover(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    std::vector<Evidence> evidence;
    std::string where;
    std::vector<std::pair<std::size_t, std::size_t>> told;
    for (const ClipReading& reading : readings) {
        if (!warned(reading, "crossover-distortion")) continue;
        if (std::find(told.begin(), told.end(), reading.channel) != told.end()) continue;
        for (const auto& [name, curve] : reading.numbers->curves) {
            const auto* distortion = name == "level" ? curve.find("thd_percent") : nullptr;
            if (distortion == nullptr || distortion->empty()) continue;
            evidence.push_back(
                {"distortion at the faintest step", distortion->front(), "%", reading.test, reading.load});
            evidence.push_back({"least distortion of all steps",
                                *std::min_element(distortion->begin(), distortion->end()), "%", reading.test,
                                reading.load});
        }
        told.push_back(reading.channel);
        where += (where.empty() ? "" : " and ") + reading.load;
    }
    if (told.empty()) return;
    found.push_back(
        {"crossover",
         fmt::format(
             "The hand-over between the halves of the output stage is rough at {}: distortion rises as the "
             "level falls, by odd harmonics as a dead zone gives them.",
             where),
         evidence, Confidence::likely,
         "Measure the idle current against the service sheet and let qualified hands set the bias; a player "
         "of few bits can look alike, so repeat once with another."});
}

}  // namespace assay::cli
