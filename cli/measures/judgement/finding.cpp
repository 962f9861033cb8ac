#include "cli/measures/judgement/finding.h"

#include <fmt/format.h>

#include <cmath>

#include "capture/find_load.h"
#include "cli/measures/judgement/clip_readings.h"
#include "cli/measures/plain_number.h"

namespace assay::cli {
namespace {

/// DIN 45500 asks for 50 dB below 100 mW of what is no signal, which is 60 dB below 1 W.
constexpr double quiet_db_below_1w = 60.0;
/// DIN 45500 allows 1.5 dB of loss at 40 Hz, re 1 kHz.
constexpr double bass_hz = 40.0;
constexpr double bass_loss_db = 1.5;

void find_hum(const capture::Bench& bench, const TestedResult& test, std::vector<Finding>& found) {
    for (const auto& [name, numbers] : test.result->loads) {
        const analysis::Quantity* hum = numbers.find("hum_v");
        const analysis::Quantity* mains = numbers.find("mains_hz");
        if (hum == nullptr || mains == nullptr || hum->value <= 0.0) continue;
        const capture::Load* load = find_load(bench, name);
        if (load == nullptr || !std::isfinite(load->resistance_ohm)) continue;
        const double below_db = analysis::decibels(std::sqrt(load->resistance_ohm) / hum->value);
        if (below_db >= quiet_db_below_1w) continue;
        found.push_back(
            {"hum",
             fmt::format("It hums: {} at {} with the input at rest, {:.0f} dB below 1 W where 60 dB "
                         "are usual at least.",
                         plain_volts(hum->value), name, below_db),
             {{"hum with the input at rest", hum->value, hum->unit, test.id, name},
              {"lowest mains line", mains->value, mains->unit, test.id, name}},
             Confidence::likely,
             "Measure noise again with the unit's input shorted at its socket: hum that stays is the unit's "
             "(supply capacitors, its grounding), hum that goes comes by the leads (a ground loop). A noise "
             "test with the probe shorted tells what is the recorder's own."});
    }
}

std::optional<double> loss_db(const analysis::Curve& curve) {
    const auto* hz = curve.find("frequency_hz");
    const auto* db = curve.find("magnitude_db");
    if (hz == nullptr || db == nullptr || hz->size() != db->size() || hz->empty()) return std::nullopt;
    const auto at = [&](double wanted) -> std::optional<double> {
        for (std::size_t k = 1; k < hz->size(); ++k) {
            if ((*hz)[k - 1] > wanted || (*hz)[k] < wanted) continue;
            const double share = ((*hz)[k] > (*hz)[k - 1])
                                     ? std::log(wanted / (*hz)[k - 1]) / std::log((*hz)[k] / (*hz)[k - 1])
                                     : 0.0;
            return (*db)[k - 1] + share * ((*db)[k] - (*db)[k - 1]);
        }
        return std::nullopt;
    };
    const auto low = at(bass_hz);
    const auto middle = at(1000.0);
    if (!low || !middle || !std::isfinite(*low) || !std::isfinite(*middle)) return std::nullopt;
    return *middle - *low;
}

void find_bass_loss(const TestedResult& test, std::vector<Finding>& found) {
    std::vector<Evidence> evidence;
    std::size_t measured = 0;
    std::string where;
    for (const auto& [name, numbers] : test.result->loads) {
        for (const auto& [curve_name, curve] : numbers.curves) {
            const auto loss = curve_name == "response" ? loss_db(curve) : std::nullopt;
            if (!loss) continue;
            ++measured;
            if (*loss <= bass_loss_db) continue;
            evidence.push_back({"loss at 40 Hz, re 1 kHz", *loss, "dB", test.id, name});
            where += (where.empty() ? "" : " and ") + name;
        }
    }
    if (evidence.empty()) return;
    const bool all = evidence.size() == measured;
    const std::string text =
        fmt::format("Bass is lost at {}: {:.1f} dB at 40 Hz, where 1.5 dB are usual at most.", where,
                    evidence.front().value);
    found.push_back({"low-frequency-loss", text, evidence, Confidence::likely,
                     all ? "See that no bass-cut or high-pass switch is on and that the recorder's own loss "
                           "is corrected; then suspect the coupling capacitors in the signal's way."
                         : "The other channel does not lose it, so no common filter does: suspect a coupling "
                           "capacitor in this channel's way, or a filter switched on for it alone."});
}

}  // namespace

std::vector<Finding> find_causes(const capture::Bench& bench, const std::vector<TestedResult>& tests) {
    std::vector<Finding> found;
    const std::vector<ClipReading> readings = clip_readings(bench, tests);
    find_protection(readings, found);
    find_no_clip(readings, found);
    find_fall_with_load(readings, found);
    find_fade(readings, found);
    find_uneven_halves(readings, found);
    find_unequal_channels(readings, found);
    find_source_resistance(readings, found);
    find_crossover(readings, found);
    for (const TestedResult& test : tests) {
        if (test.result->fault) continue;
        if (test.result->measure == "noise") find_hum(bench, test, found);
        if (test.result->measure == "response") find_bass_loss(test, found);
    }
    return found;
}

std::string confidence_word(Confidence confidence) {
    switch (confidence) {
        case Confidence::clear:
            return "clear";
        case Confidence::likely:
            return "likely";
        case Confidence::cannot_tell:
            break;
    }
    return "cannot tell";
}

}  // namespace assay::cli
