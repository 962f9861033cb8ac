#include "cli/commands/play_sheet/play_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "analysis/units.h"
#include "cli/commands/cautions.h"
#include "cli/commands/play_sheet/play_sheet_held.h"
#include "cli/commands/play_sheet/play_sheet_jig.h"

namespace assay::cli {

namespace {

std::string minutes(double seconds) {
    const int whole = static_cast<int>(std::ceil(seconds));
    return fmt::format("{}:{:02} min", whole / 60, whole % 60);
}

/// Powers that claims state for this load, in any test; smallest first.
std::vector<double> claimed_powers_w(const Job& job, const capture::Load& load) {
    std::vector<double> powers;
    for (const Claim& claim : job.claims) {
        if (!claim.quantity.ends_with("_w") || claim.quantity.starts_with("total") || claim.load != load.name)
            continue;
        const double power = claim.at_least.value_or(claim.nominal.value_or(0.0));
        if (power > 0.0) powers.push_back(power);
    }
    std::sort(powers.begin(), powers.end());
    return powers;
}

struct Heat {
    double energy_ws = 0.0;
    double highest_w = 0.0;
    double above_rating_s = 0.0;
};

/// The load's heat if the unit gives the rated power at the level-set tone, rises with the level from there,
/// and flattens at four times the rating: healthy units give about twice their printed watts (common
/// practice, no source), and a square wave twice the power of the sine that it is cut from.
Heat heat_of(const capture::Tone& tone, double rated_w, double level_set_dbfs, double load_rating_w) {
    Heat heat;
    for (const capture::Segment& segment : tone.segments) {
        const double seconds = static_cast<double>(segment.frames) / tone.rate_hz;
        const double power_w =
            rated_w * std::min(analysis::power_ratio_from_decibels(segment.level_dbfs - level_set_dbfs), 4.0);
        heat.energy_ws += power_w * seconds;
        heat.highest_w = std::max(heat.highest_w, power_w);
        if (power_w > load_rating_w) heat.above_rating_s += seconds;
    }
    return heat;
}

std::string heat_line(const Job& job, const SheetEntry& entry, const capture::Load& load,
                      double level_set_dbfs) {
    const capture::Tone& tone = entry.tone;
    if (is_held(entry)) {
        const std::vector<double> powers_w = claimed_powers_w(job, load);
        return held_heat_line(entry, load,
                              powers_w.empty() ? std::nullopt : std::optional<double>(powers_w.front()),
                              level_set_dbfs);
    }
    if (load.bare_input) return {};
    if (!std::isfinite(load.resistance_ohm))
        return fmt::format("     {}: nothing connected, no heat\n", load.name);
    const std::vector<double> claimed = claimed_powers_w(job, load);
    if (claimed.empty()) {
        return fmt::format(
            "     heat in {}: {:.0f} watt-seconds for every watt that the loudest step gives (no rating is "
            "claimed)\n",
            load.name, tone.energy_s() / analysis::power_ratio_from_decibels(tone.peak_dbfs()));
    }
    const double unlimited = std::numeric_limits<double>::infinity();
    const double rating_w = load.rated_power_no_heatsink_w.value_or(load.rated_power_w.value_or(unlimited));
    const Heat heat = heat_of(tone, claimed.front(), level_set_dbfs, rating_w);
    const double average_w = heat.energy_ws / tone.duration_s();
    std::string line = fmt::format(
        "     heat in {}: up to {:.0f} watt-seconds ({:.0f} W on average, {:.0f} W at most), if a unit rated "
        "{:.4g} W gives\n"
        "       twice that and is driven into a square wave. ",
        load.name, heat.energy_ws, average_w, heat.highest_w, claimed.front());
    if (rating_w == unlimited) return line + "The load's own rating is not stated.\n";
    if (heat.above_rating_s <= 0.0) return line + fmt::format("Within the load's {:.4g} W.\n", rating_w);
    line += fmt::format("Above the load's {:.4g} W for {:.0f} s", rating_w, heat.above_rating_s);
    return line + (average_w > rating_w ? ": TOO HOT, take a bigger load or a lower to_dbfs.\n"
                                        : ": let it cool well before and after.\n");
}

std::string aim_for_gain(const Job& job, const capture::Bench& bench,
                         const std::vector<SheetEntry>& entries) {
    for (const SheetEntry& entry : entries) {
        if (entry.test->measure != "clipping-power") continue;
        const capture::Load& load = bench.loads[entry.test->loads.front()];
        const std::vector<double> claimed = claimed_powers_w(job, load);
        if (!claimed.empty()) {
            return fmt::format(
                "until a meter across {} reads {:.2f} V (the claimed {:.4g} W into {:.4g} ohm)", load.name,
                std::sqrt(claimed.front() * load.resistance_ohm), claimed.front(), load.resistance_ohm);
        }
    }
    return "until the unit just begins to clip (lamp, meter stops rising), then back by a third of the "
           "voltage";
}

/// Cautions, what to set once, and how to go on, for tones that an amplifier plays into loads.
std::string loads_sheet_start(const Job& job, const capture::Bench& bench,
                              const std::vector<SheetEntry>& entries, const LevelSet& level_set) {
    const bool line = job.unit.kind == UnitKind::line;
    std::string text = cautions_text(job.unit.kind, common_columns) + "\n";
    if (!line)
        text +=
            "No guard stands between a player and your load resistor: what each tone heats is told "
            "below.\n\n";
    text += "SET ONCE\n\n";
    text +=
        "  1. Player: equaliser, loudness, volume levelling and enhancements OFF. Volume as high as stays "
        "clean\n"
        "     (often the top), then never touched again. Flight mode on a phone.\n";
    text +=
        "  2. Recorder: automatic level, noise suppression and effects OFF; 44.1 kHz at least, 24 bit, WAV "
        "or FLAC.\n"
        "     Channel n of the recording is input channel n of the bench file.\n";
    if (line) {
        text += fmt::format(
            "  3. Unit's controls as the job states them for each test. Play level-set.wav ({}, {:.6g} Hz, "
            "{:.1f} dBFS)\n     and turn the player's volume up until a meter at the unit's output stops "
            "rising, then back by a third of the\n     voltage. Where the player cannot reach that, leave it "
            "at its "
            "cleanest top.\n",
            minutes(level_set.seconds), level_set.frequency_hz, level_set.level_dbfs);
    } else {
        text += fmt::format(
            "  3. Unit's gain at its lowest. Play level-set.wav ({}, {:.6g} Hz, {:.1f} dBFS) and turn the "
            "gain up\n     {}.\n",
            minutes(level_set.seconds), level_set.frequency_hz, level_set.level_dbfs,
            aim_for_gain(job, bench, entries));
    }
    text +=
        "  4. Recorder's gain: the loudest tone must stay below full scale with room for twice the volts of "
        "step 3.\n     Calibrate the scale: assay calibrate input --bench BENCH --recording FILE "
        "--meter-volts V.\n\n";
    text +=
        "THEN, FOR EACH TONE, IN THIS ORDER\n\n  Start the recorder, start the player, let the file run to "
        "its end, stop the recorder. Save the recording under\n"
        "  the tone file's own name. ";
    text += line ? "Write down where the controls stand, and put it into the job file.\n\n"
                 : "Let the load cool between tones. Write down the supply volts at the "
                   "unit's terminals,\n  idle and at the loudest step, and put them into the job file.\n\n";
    return text;
}

/// What the supply is to be set to, if the job says; `before_v`: what it was set to for the tone before.
std::string supply_lines(const Test& test, std::optional<double> before_v) {
    const auto set_v = test.number("supply_set_v");
    if (!set_v) return {};
    if (before_v == set_v) return fmt::format("     supply: as before, {:.4g} V\n", *set_v);
    return fmt::format(
        "     supply: SET IT TO {:.4g} V, read at the unit's own terminals, no signal; player stopped and "
        "unit off\n       while it is changed. Write down what the meter reads: the run asks for it.\n",
        *set_v);
}

}  // namespace

std::string play_sheet(const Job& job, const capture::Bench& bench, const std::vector<SheetEntry>& entries,
                       const LevelSet& level_set) {
    const bool all_in_jig =
        bench.jig && !entries.empty() &&
        std::ranges::all_of(entries, [](const SheetEntry& entry) { return sits_in_jig(*entry.test); });
    std::string text = "HOW TO PLAY THESE TONES\n=======================\n\n";
    text +=
        all_in_jig ? jig_sheet_start(bench, level_set) : loads_sheet_start(job, bench, entries, level_set);
    double total_s = 0.0;
    int number = 0;
    std::optional<double> supply_v;
    for (const SheetEntry& entry : entries) {
        total_s += played_s(entry);
        const std::string supply = supply_lines(*entry.test, supply_v);
        if (const auto set_v = entry.test->number("supply_set_v")) supply_v = set_v;
        if (entry.tone.segments.empty()) {
            text += fmt::format(
                "  {}. Play nothing: the unit on, its input closed by the source's resistance (or shorted), "
                "hands off. Record\n     {:.0f} s and save them as {}.wav.   ({})\n{}\n",
                ++number, entry.tone.duration_s(), entry.test->id, entry.test->measure, supply);
            continue;
        }
        text += fmt::format("  {}. {}.wav   {}   loudest {:.1f} dBFS   ({})\n", ++number, entry.test->id,
                            minutes(entry.tone.duration_s()), entry.tone.peak_dbfs(), entry.test->measure);
        if (sits_in_jig(*entry.test) && bench.jig) {
            text += jig_lines(entry, bench, level_set) + "\n";
            continue;
        }
        text += supply;
        std::string loads;
        for (const std::size_t index : entry.test->loads) {
            const capture::Load& load = bench.loads[index];
            loads += (loads.empty() ? "" : ", ") + load.name;
            if (load.bare_input) continue;
            loads += fmt::format(" ({}{})",
                                 std::isfinite(load.resistance_ohm)
                                     ? fmt::format("{:.4g} ohm", load.resistance_ohm)
                                     : std::string("the probe alone, no load"),
                                 load.bridged() ? ", bridged: both terminals live" : "");
        }
        const auto driven = entry.test->text("driven");
        text += (driven ? "     connected: " + loads + "\n     driven: " + *driven +
                              " alone; the other channel's input closed by the source's resistance\n"
                        : "     connected and driven together: " + loads + "\n");
        if (is_held(entry)) text += held_lines(entry, job.unit.kind == UnitKind::line);
        if (const auto controls = entry.test->text("controls")) text += "     controls: " + *controls + "\n";
        for (const std::size_t index : entry.test->loads) {
            if (driven && bench.loads[index].name != *driven) continue;
            text += heat_line(job, entry, bench.loads[index], level_set.level_dbfs);
        }
        text += "\n";
    }
    text += fmt::format(
        "  {} tone{}, {} in all.\n\nAFTERWARDS\n\n  Put the recordings into one folder and run:\n    assay "
        "run JOB --bench BENCH --recordings FOLDER --into SESSION\n",
        number, number == 1 ? "" : "s", minutes(total_s));
    return text;
}

}  // namespace assay::cli
