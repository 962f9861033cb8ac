// Power that goes as the load gets smaller, or as the unit gets hot: what takes it, as far as the tests tell.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/measures/judgement/clip_readings.h"

namespace assay::cli {
namespace {

constexpr double tenth_of_power_db = 0.458;  // 10 log10(0.9), of volts: what is less is not worth a word
constexpr double same_current = 1.15;        // between two loads: the current no longer grows
constexpr double supply_fall_percent = 5.0;  // as for a claim's basis
constexpr double gain_steady_db = 0.3;
constexpr double idle_apart_percent = 3.0;

struct Fall {
    const ClipReading* high = nullptr;               // into the highest load
    const ClipReading* next = nullptr;               // into the lowest but one
    const ClipReading* low = nullptr;                // into the lowest: where most is lost
    double high_v = 0.0, next_v = 0.0, low_v = 0.0;  // peaks, the loss in the source's resistance taken back
    const ClipReading* alone = nullptr;              // the same channel into the lowest load, driven alone
    std::size_t loads = 0;
    double db = 0.0;
};

/// Readings of one channel with all channels driven, one for each load, the highest load first.
std::vector<const ClipReading*> by_load(const std::vector<ClipReading>& readings,
                                        std::pair<std::size_t, std::size_t> channel, std::size_t together) {
    std::vector<const ClipReading*> list;
    for (const ClipReading& reading : readings) {
        if (reading.channel != channel || reading.together != together || !reading.ceiling_v()) continue;
        const bool there = std::any_of(list.begin(), list.end(), [&](const ClipReading* other) {
            return std::abs(other->load_ohm / reading.load_ohm - 1.0) < 0.1;
        });
        if (!there) list.push_back(&reading);
    }
    std::sort(list.begin(), list.end(),
              [](const ClipReading* a, const ClipReading* b) { return a->load_ohm > b->load_ohm; });
    return list;
}

std::optional<Fall> fall_of(const std::vector<ClipReading>& readings,
                            std::pair<std::size_t, std::size_t> channel) {
    std::size_t most = 0;
    for (const ClipReading& reading : readings) {
        if (reading.channel == channel) most = std::max(most, reading.together);
    }
    const auto list = by_load(readings, channel, most);
    if (list.size() < 2) return std::nullopt;
    const auto source = source_resistance(readings, channel);
    const auto inner_v = [&](const ClipReading& reading) {
        return *reading.ceiling_v() * (1.0 + (source ? std::max(source->ohm, 0.0) : 0.0) / reading.load_ohm);
    };
    Fall fall;
    fall.high = list.front();
    fall.next = list[list.size() - 2];
    fall.low = list.back();
    fall.high_v = inner_v(*fall.high);
    fall.next_v = inner_v(*fall.next);
    fall.low_v = inner_v(*fall.low);
    fall.loads = list.size();
    fall.db = analysis::decibels(fall.high_v / fall.low_v);
    for (const ClipReading& reading : readings) {
        if (reading.channel == channel && most > 1 && reading.together == 1 && reading.ceiling_v() &&
            std::abs(reading.load_ohm / fall.low->load_ohm - 1.0) < 0.05)
            fall.alone = &reading;
    }
    return fall;
}

enum class Cause { supply, current, open };

/// What an ordinary unit loses too: a tenth of the power from 8 to 4 ohm (common practice, no source). A
/// supply behind a resistance k leaves V = V0 / (1 + k / R), so that the same k takes a quarter from 8 to 2
/// ohm.
double ordinary_fall_db(const Fall& fall) {
    const double ratio = analysis::ratio_from_decibels(tenth_of_power_db);
    const double ordinary_ohm = (ratio - 1.0) / (1.0 / 4.0 - ratio / 8.0);
    return analysis::decibels((1.0 + ordinary_ohm / fall.low->load_ohm) /
                              (1.0 + ordinary_ohm / fall.high->load_ohm));
}

struct Verdict {
    Cause cause = Cause::open;
    Confidence confidence = Confidence::cannot_tell;
};

Verdict cause_of(const Fall& fall) {
    const double current_ratio = (fall.low_v / fall.low->load_ohm) / (fall.next_v / fall.next->load_ohm);
    if (current_ratio < same_current) return {Cause::current, Confidence::clear};
    if (fall.alone != nullptr) {
        // A supply that all share gives a channel more when it plays alone; a limit of its own does not care.
        const double back_db = analysis::decibels(*fall.alone->ceiling_v() / *fall.low->ceiling_v());
        if (back_db > 0.4 * fall.db) return {Cause::supply, Confidence::clear};
        if (back_db < 0.15 * fall.db) return {Cause::current, Confidence::likely};
        return {};
    }
    if (fall.loads < 3) return {};
    // A supply behind a resistance: V = V0 / (1 + k / R), so 1/V is a straight line over 1/R.
    const double slope =
        (1.0 / fall.next_v - 1.0 / fall.high_v) / (1.0 / fall.next->load_ohm - 1.0 / fall.high->load_ohm);
    const double expected_v =
        1.0 / (1.0 / fall.next_v + slope * (1.0 / fall.low->load_ohm - 1.0 / fall.next->load_ohm));
    const double beyond_db = analysis::decibels(expected_v / fall.low_v);
    if (std::abs(beyond_db) < 0.25 * fall.db) return {Cause::supply, Confidence::likely};
    if (beyond_db > 0.6 * fall.db) return {Cause::current, Confidence::likely};
    return {};
}

std::optional<double> supply_fall(const ClipReading& reading) {
    if (!reading.supply_idle_v || !reading.supply_loaded_v || *reading.supply_idle_v <= 0.0)
        return std::nullopt;
    return 100.0 * (1.0 - *reading.supply_loaded_v / *reading.supply_idle_v);
}

std::vector<Evidence> evidence_of(const Fall& fall) {
    std::vector<Evidence> evidence{ceiling_evidence(*fall.high)};
    if (fall.next != fall.high) evidence.push_back(ceiling_evidence(*fall.next));
    evidence.push_back(ceiling_evidence(*fall.low));
    if (fall.alone != nullptr) evidence.push_back(ceiling_evidence(*fall.alone));
    return evidence;
}

Finding supply_finding(const Fall& fall, Confidence confidence, double percent) {
    std::vector<Evidence> evidence = evidence_of(fall);
    const auto outside = supply_fall(*fall.low);
    if (outside && *outside > supply_fall_percent) {
        evidence.push_back(
            {"supply at the unit's terminals, idle", *fall.low->supply_idle_v, "V", fall.low->test, {}});
        evidence.push_back(
            {"supply at the unit's terminals, loaded", *fall.low->supply_loaded_v, "V", fall.low->test, {}});
        return {
            "outside-supply-sag",
            fmt::format(
                "The supply that feeds the unit gives way: it falls by {:.1f} % at the terminals, and into "
                "{:.3g} ohm {:.0f} % of the power that a stiff supply would allow is missing.",
                *outside, fall.low->load_ohm, percent),
            evidence, Confidence::likely,
            "Repeat with a stronger battery or supply and short thick leads before the unit is blamed; a "
            "fuse at the battery stays in."};
    }
    return {
        "supply-sag",
        fmt::format("The unit's own supply gives way: into {:.3g} ohm, {:.0f} % of the power is missing that "
                    "its volts into {:.3g} ohm promise{}.",
                    fall.low->load_ohm, percent, fall.high->load_ohm,
                    fall.alone != nullptr ? ", and a channel alone gives more" : ""),
        evidence, confidence,
        outside
            ? "Look at the supply inside: reservoir capacitors, rectifier, converter, joints that get warm. "
              "All units do some of this; compare with another of its kind."
            : "Read the supply at the unit's terminals, idle and loaded (supply_idle_v, supply_loaded_v), to "
              "tell the unit's own supply from the one that feeds it."};
}

Finding current_finding(const Fall& fall, Confidence confidence, double percent) {
    std::vector<Evidence> evidence = evidence_of(fall);
    evidence.push_back({fmt::format("peak current at that point into {:.3g} ohm", fall.low->load_ohm),
                        *fall.low->ceiling_v() / fall.low->load_ohm, "A", fall.low->test, fall.low->load});
    return {
        "current-limit",
        fmt::format(
            "The output's current is limited: about {:.3g} A peak at {}, so that {:.0f} % of the power is "
            "missing into {:.3g} ohm though the volts into {:.3g} ohm are there.",
            *fall.low->ceiling_v() / fall.low->load_ohm, fall.low->load, percent, fall.low->load_ohm,
            fall.high->load_ohm),
        evidence, confidence,
        "If the unit is rated for this load, look at its protection circuit and for output devices that are "
        "dead or of low gain; if not, this is how it is built, and higher loads are its place."};
}

Finding open_finding(const Fall& fall, double percent) {
    const bool alone_missing = fall.alone == nullptr;
    return {
        "power-falls-with-load",
        fmt::format(
            "Into {:.3g} ohm {:.0f} % of the power is missing that the volts into {:.3g} ohm promise. "
            "Whether the supply gives way or the current is limited cannot be told from these data.",
            fall.low->load_ohm, percent, fall.high->load_ohm),
        evidence_of(fall), Confidence::cannot_tell,
        alone_missing
            ? fmt::format(
                  "Measure into {:.3g} ohm again with one channel driven alone: if it gives more, the shared "
                  "supply gives way; if not, the current is limited.",
                  fall.low->load_ohm)
            : "Measure into a third load, and read the supply idle and loaded."};
}

}  // namespace

void find_fall_with_load(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    // The channel that loses most stands for all; a limit of one channel alone is then named by its load.
    std::optional<Fall> worst;
    for (const auto& channel : channels_of(readings)) {
        const auto fall = fall_of(readings, channel);
        if (!fall || fall->db <= 0.0) continue;
        // One that may be told apart is worth more than one that loses a little more.
        const double margin = (worst && worst->alone != nullptr && fall->alone == nullptr) ? 1.2 : 1.0;
        if (!worst || fall->db > margin * worst->db) worst = fall;
    }
    if (!worst || worst->db < ordinary_fall_db(*worst)) return;
    const double percent = 100.0 * (1.0 - analysis::power_ratio_from_decibels(-worst->db));
    const Verdict verdict = cause_of(*worst);
    switch (verdict.cause) {
        case Cause::supply:
            found.push_back(supply_finding(*worst, verdict.confidence, percent));
            break;
        case Cause::current:
            found.push_back(current_finding(*worst, verdict.confidence, percent));
            break;
        case Cause::open:
            found.push_back(open_finding(*worst, percent));
            break;
    }
}

void find_fade(const std::vector<ClipReading>& readings, std::vector<Finding>& found) {
    for (const ClipReading& early : readings) {
        for (const ClipReading& late : readings) {
            if (late.order <= early.order || late.load != early.load || late.together != early.together)
                continue;
            if (!early.ceiling_v() || !late.ceiling_v()) continue;
            const double fall_db = analysis::decibels(*early.ceiling_v() / *late.ceiling_v());
            if (fall_db < tenth_of_power_db) continue;
            // A gain that moved too is another story: a contact, a control, another cable.
            if (early.gain_db && late.gain_db && std::abs(*early.gain_db - *late.gain_db) > gain_steady_db)
                continue;
            if (early.supply_idle_v && late.supply_idle_v &&
                std::abs(*early.supply_idle_v / *late.supply_idle_v - 1.0) > 0.01 * idle_apart_percent)
                continue;
            found.push_back(
                {"thermal-fade",
                 fmt::format(
                     "Power fades: the later of two equal tests gives {:.0f} % less at {}, at the same "
                     "gain.",
                     100.0 * (1.0 - analysis::power_ratio_from_decibels(-fall_db)), early.load),
                 {ceiling_evidence(early), ceiling_evidence(late)},
                 Confidence::likely,
                 "Let it cool for half an hour and repeat: if the power comes back, look at heatsink, fan "
                 "and thermal paste; note case_temperature_c and the supply's volts with each test."});
            return;
        }
    }
}

}  // namespace assay::cli
