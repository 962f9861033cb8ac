#include "cli/commands/play_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "capture/guard.h"
#include "cli/commands/cautions.h"

namespace assay::cli {

namespace {

std::string minutes(double seconds) {
    const int whole = static_cast<int>(std::ceil(seconds));
    return fmt::format("{}:{:02} min", whole / 60, whole % 60);
}

/// The largest power that any claim states for this load in this test, if it states one in watts.
double claimed_power_w(const Job& job, const Test& test, const capture::Load& load) {
    double power = 0.0;
    for (const Claim& claim : job.claims) {
        if (claim.test != test.id || !claim.quantity.ends_with("_w") ||
            (!claim.load.empty() && claim.load != load.name))
            continue;
        if (claim.quantity.starts_with("total")) continue;
        power = std::max({power, claim.at_least.value_or(0.0), claim.nominal.value_or(0.0)});
    }
    return power;
}

std::string heat_line(const Job& job, const Test& test, const capture::Tone& tone,
                      const capture::Load& load) {
    const double claimed = claimed_power_w(job, test, load);
    if (!std::isfinite(load.resistance_ohm))
        return fmt::format("     load {}: none connected, no heat\n", load.name);
    if (claimed <= 0.0) {
        return fmt::format(
            "     load {}: {:.0f} watt-seconds for every watt at the loudest step (no rating is claimed)\n",
            load.name, tone.energy_s() / std::pow(10.0, tone.peak_dbfs() / 10.0));
    }
    // Healthy units give about twice their printed watts, and a square wave twice a sine: common practice, no
    // source.
    const double worst = 4.0 * claimed;
    const capture::LoadHeat heat = capture::heat_in_load(load, tone, worst);
    return fmt::format(
        "     load {}: at most about {:.0f} watt-seconds, if the loudest step gives {:.0f} W (four times the "
        "claimed {:.4g} W:\n       a strong unit driven to a square wave). {}\n",
        load.name, heat.energy_ws, worst, claimed, heat.text);
}

std::string aim_for_gain(const Job& job, const capture::Bench& bench,
                         const std::vector<SheetEntry>& entries) {
    for (const SheetEntry& entry : entries) {
        if (entry.test->measure != "clipping-power") continue;
        const capture::Load& load = bench.loads[entry.test->loads.front()];
        const double claimed = claimed_power_w(job, *entry.test, load);
        if (claimed > 0.0) {
            return fmt::format(
                "until a meter across load {} reads {:.2f} V (that is the claimed {:.4g} W into {:.4g} ohm)",
                load.name, std::sqrt(claimed * load.resistance_ohm), claimed, load.resistance_ohm);
        }
    }
    return "until the unit just begins to clip (lamp, meter stops rising), then back by a third of the "
           "voltage";
}

}  // namespace

std::string play_sheet(const Job& job, const capture::Bench& bench, const std::vector<SheetEntry>& entries,
                       const LevelSet& level_set) {
    std::string text = "HOW TO PLAY THESE TONES\n=======================\n\n" + cautions_text() + "\n";
    text +=
        "No guard stands between a player and your load resistor: what each tone heats is told below.\n\n";
    text += "SET ONCE\n\n";
    text +=
        "  1. Player: equaliser, loudness, volume levelling and enhancements OFF. Volume as high as stays "
        "clean\n"
        "     (often the top), then never touched again. Flight mode on a phone.\n";
    text += fmt::format(
        "  2. Recorder: automatic level, noise suppression and effects OFF; {:.6g} Hz or more, 24 bit, WAV "
        "or FLAC. Channel n\n     of the recording is input channel n of the bench file.\n",
        std::max(44100.0, bench.sample_rate_hz));
    text += fmt::format(
        "  3. Unit's gain at its lowest. Play level-set.wav ({}, {:.6g} Hz, {:.1f} dBFS) and turn the gain "
        "up\n     {}.\n",
        minutes(level_set.seconds), level_set.frequency_hz, level_set.level_dbfs,
        aim_for_gain(job, bench, entries));
    text +=
        "  4. Recorder's gain: the loudest tone must stay below full scale with room for twice the volts of "
        "step 3.\n     Calibrate the scale: assay calibrate input --bench BENCH --recording FILE "
        "--meter-volts V.\n\n";
    text +=
        "THEN, FOR EACH TONE, IN THIS ORDER\n\n  Start the recorder, start the player, let the file run to "
        "its end, stop the recorder. Save the recording under\n"
        "  the tone file's own name. Let the load cool between tones. Write down the supply volts at the "
        "unit's terminals,\n  idle and at the loudest step, and put them into the job file.\n\n";
    double total_s = 0.0;
    int number = 0;
    for (const SheetEntry& entry : entries) {
        total_s += entry.tone.duration_s();
        text += fmt::format("  {}. {}.wav   {}   loudest {:.1f} dBFS   ({})\n", ++number, entry.test->id,
                            minutes(entry.tone.duration_s()), entry.tone.peak_dbfs(), entry.test->measure);
        std::string loads;
        for (const std::size_t index : entry.test->loads) {
            const capture::Load& load = bench.loads[index];
            loads += fmt::format("{}{} ({:.4g} ohm{})", loads.empty() ? "" : ", ", load.name,
                                 load.resistance_ohm, load.bridged() ? ", bridged: both terminals live" : "");
        }
        text += "     connected and driven together: " + loads + "\n";
        for (const std::size_t index : entry.test->loads)
            text += heat_line(job, *entry.test, entry.tone, bench.loads[index]);
        text += "\n";
    }
    text += fmt::format(
        "  {} tone{}, {} in all.\n\nAFTERWARDS\n\n  Put the recordings into one folder and run:\n    assay "
        "run JOB --bench BENCH --recordings FOLDER --into SESSION\n",
        number, number == 1 ? "" : "s", minutes(total_s));
    return text;
}

}  // namespace assay::cli
