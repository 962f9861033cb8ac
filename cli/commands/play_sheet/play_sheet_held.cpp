#include "cli/commands/play_sheet/play_sheet_held.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/measures/fields.h"

namespace assay::cli {

namespace {

constexpr double case_hot_c = 60.0;       // a metal case hotter than this hurts (common practice, no source)
constexpr double most_over_rating = 4.0;  // twice the printed watts, cut into a square wave
constexpr double resistor_share = 0.5;    // of its rating, that a resistor bears for hours in still air
constexpr double minutes_of_an_hour = 60.0;

std::string length_words(double minutes) {
    if (minutes < minutes_of_an_hour) return fmt::format("{:.4g} minutes", minutes);
    return fmt::format("{:.4g} minutes ({:.1f} hours)", minutes, minutes / minutes_of_an_hour);
}

/// Mean power re the sine of the same peak.
double mean_share(const capture::Tone& tone) {
    return capture::relative_mean_square(tone.segments.front().law);
}

}  // namespace

bool is_held(const SheetEntry& entry) {
    return entry.test->measure == "endurance" && !entry.tone.segments.empty();
}

double played_s(const SheetEntry& entry) {
    if (!is_held(entry)) return entry.tone.duration_s();
    return std::max(entry.tone.duration_s(), 60.0 * field_number(*entry.test, "minutes"));
}

std::string held_lines(const SheetEntry& entry, bool line_unit) {
    const double minutes = field_number(*entry.test, "minutes");
    std::string text = fmt::format(
        "     HELD FOR {}: SOMEBODY STAYS BESIDE IT ALL THE TIME, awake, with a hand at the switch.\n",
        length_words(minutes));
    if (played_s(entry) > entry.tone.duration_s() + 1.0) {
        text += fmt::format(
            "     The file is {:.0f} s long: set the player to repeat this one file, without gap or fade. IT "
            "DOES\n"
            "     NOT END BY ITSELF: set a timer, stop the player after {}, then the recorder.\n"
            "     The recorder runs all the time, in one file: look for room on its card, and for power.\n",
            entry.tone.duration_s(), length_words(minutes));
    }
    if (line_unit) {
        return text +
               "     STOP AT ONCE (player first, then the unit's switch): smell, smoke, crackling, a case "
               "too warm to touch.\n     Do not start again before the cause is found.\n";
    }
    text += fmt::format(
        "     Before: load on metal or stone, air all round it, nothing near that burns or melts, a fire\n"
        "     extinguisher at hand (no water on mains or batteries). Unit on its feet, its vents free. "
        "Children and\n"
        "     animals out.\n"
        "     While it runs: load and unit are HOT (the load passes 200 degrees C). Touch neither; point a\n"
        "     thermometer at them, or wait half an hour. A case above {:.0f} degrees C burns fingers. Write "
        "down\n"
        "     minute, supply volts and amperes.\n"
        "     STOP AT ONCE (player first, then the unit's switch, then the supply): smell, smoke, crackling, "
        "a lead\n"
        "     or plug too warm to hold, a meter that jumps, a protection lamp. Do not start again before the "
        "cause\n"
        "     is found.\n",
        case_hot_c);
    const auto end_v = entry.test->number("end_supply_v");
    text += end_v ? fmt::format("     Battery: stop when the meter at the unit's terminals reads {:.4g} V.",
                                *end_v)
                  : "     Battery: stop at its lowest allowed volts (its sheet; 10.5 V for 12 V lead-acid, "
                    "from memory).";
    return text +
           " Fuse at\n     its post. Lead-acid gives off gas when charged again: fresh air, no sparks. A "
           "lithium battery that\n     swells or gets hot: switch off, get away.\n";
}

std::string held_heat_line(const SheetEntry& entry, const capture::Load& load,
                           std::optional<double> claimed_w, double level_set_dbfs) {
    if (load.bare_input) return {};
    if (!std::isfinite(load.resistance_ohm))
        return fmt::format("     {}: nothing connected, no heat\n", load.name);
    const auto rating_w =
        load.rated_power_no_heatsink_w ? load.rated_power_no_heatsink_w : load.rated_power_w;
    const double share = mean_share(entry.tone);
    if (!claimed_w) {
        std::string line = fmt::format(
            "     heat in {}, all the time: the square of the meter's true RMS volts over {:.4g} "
            "ohm. ",
            load.name, load.resistance_ohm);
        if (!rating_w) return line + "The load's own rating is not stated: read its print.\n";
        return line + fmt::format("More than {:.3g} V is more than its {:.4g} W.\n",
                                  std::sqrt(*rating_w * load.resistance_ohm), *rating_w);
    }
    const double level_db = entry.tone.peak_dbfs() - level_set_dbfs;
    const double mean_w =
        *claimed_w * share * std::min(analysis::power_ratio_from_decibels(level_db), most_over_rating);
    const double energy_wh = mean_w * played_s(entry) / 3600.0;
    std::string line = fmt::format(
        "     heat in {}: {:.3g} W all the time, {:.3g} Wh in all, if the unit gives its {:.4g} W at the "
        "level-set tone.\n       ",
        load.name, mean_w, energy_wh, *claimed_w);
    if (!rating_w) return line + "The load's own rating is not stated: read its print before you start.\n";
    if (mean_w > *rating_w)
        return line + fmt::format(
                          "MORE THAN THE LOAD'S {:.4g} W: DO NOT PLAY THIS. Take a bigger load or a lower "
                          "drive_dbfs.\n",
                          *rating_w);
    if (mean_w > resistor_share * *rating_w)
        return line + fmt::format("Within the load's {:.4g} W, but not by much: heatsink and moving air.\n",
                                  *rating_w);
    return line + fmt::format("Within the load's {:.4g} W.\n", *rating_w);
}

}  // namespace assay::cli
