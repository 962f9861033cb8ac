#include "cli/commands/play_sheet/play_sheet_jig.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/commands/cautions.h"
#include "cli/commands/live/jig_arrangement.h"
#include "cli/files/plain_text.h"
#include "cli/measures/impedance.h"

namespace assay::cli {

namespace {

/// Volts RMS of the loudest segment and volts peak of the tone, if level-set.wav gives jig_level_set_v.
struct JigVolts {
    double rms_v = 0.0;
    double peak_v = 0.0;
    double mean_square_v2_s = 0.0;  // over the whole tone, volts squared times seconds
};

JigVolts volts_of(const capture::Tone& tone, double level_set_dbfs) {
    JigVolts volts;
    const auto gain = [&](double level_dbfs) {
        return analysis::ratio_from_decibels(level_dbfs - level_set_dbfs);
    };
    for (const capture::Segment& segment : tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        const auto* multitone = std::get_if<capture::Multitone>(&segment.law);
        const double re_sine =
            multitone != nullptr ? std::sqrt(2.0 * capture::mean_square_of(*multitone)) : 1.0;
        volts.rms_v = std::max(volts.rms_v, jig_level_set_v * re_sine * gain(segment.level_dbfs));
    }
    volts.peak_v = std::sqrt(2.0) * jig_level_set_v * gain(tone.peak_dbfs());
    volts.mean_square_v2_s = jig_level_set_v * jig_level_set_v * tone.energy_s() * std::pow(gain(0.0), 2);
    return volts;
}

}  // namespace

bool sits_in_jig(const Test& test) {
    return test.loads.empty();
}

std::string jig_sheet_start(const capture::Bench& bench, const LevelSet& level_set) {
    const capture::ImpedanceJig& jig = *bench.jig;
    const bool high = jig.topology == capture::ImpedanceJig::Topology::series_high;
    std::string text = cautions_text(UnitKind::driver, common_columns) + "\nSET ONCE\n\n";
    text += fmt::format(
        "  1. Jig: {} ohm between {} (\"{}\" at the generator's end, \"{}\" between resistor and driver).\n"
        "     {}\n",
        fmt::format("{:.6g}", jig.series_ohm), high ? "player and driver" : "driver and ground",
        bench.inputs[jig.generator_side].name, bench.inputs[jig.driver_side].name,
        high ? "The driver's other terminal goes to ground."
             : "The driver's other terminal goes to the player.");
    text +=
        "  2. Player: equaliser, loudness, volume levelling and enhancements OFF. Flight mode on a phone.\n"
        "  3. Recorder: automatic level, noise suppression and effects OFF; 44.1 kHz at least, 24 bit, WAV "
        "or FLAC;\n"
        "     both inputs on one recorder, their gains equal and not touched between the tones.\n"
        "     Channel n of the recording is input channel n of the bench file.\n";
    text += fmt::format(
        "  4. Play level-set.wav (0:{:02.0f} min, {:.6g} Hz, {:.1f} dBFS) and turn the volume up until a "
        "meter from\n     \"{}\" to ground reads about {:.2g} V: loud enough for the recorder, soft enough "
        "for the "
        "driver\n     (common practice, no source). Then set the recorder's gain: the tones' peaks, told "
        "below, must stay\n     under its full scale.\n\n",
        level_set.seconds, level_set.frequency_hz, level_set.level_dbfs,
        bench.inputs[jig.generator_side].name, jig_level_set_v);
    text +=
        "THEN, FOR EACH TONE, IN THIS ORDER\n\n"
        "  Put into the jig what is told, start the recorder, start the player, let the file run to its end, "
        "stop the\n  recorder. Save the recording under the tone file's own name. Between the tones, leave "
        "every gain as it is.\n\n";
    return text;
}

std::string jig_lines(const SheetEntry& entry, const capture::Bench& bench, const LevelSet& level_set) {
    const JigVolts volts = volts_of(entry.tone, level_set.level_dbfs);
    // A resistance r behind a resistance R takes V^2 r / (R + r)^2, which is most where r = R.
    const double most_ws = volts.mean_square_v2_s / (4.0 * bench.jig->series_ohm);
    std::string text = labelled_lines("     in the jig:", 17, in_the_jig(*entry.test), 110);
    text += fmt::format("     at the generator's end {:.2g} V RMS, {:.2g} V peak", volts.rms_v, volts.peak_v);
    const auto in_jig = in_jig_of(*entry.test);
    if (in_jig && in_jig->both_inputs_on_one_node) return text + "\n";
    return text +
           fmt::format(
               "; into the driver at most {:.2g} watt-seconds\n       ({:.2g} mW on average): nothing gets "
               "warm\n",
               most_ws, 1e3 * most_ws / entry.tone.duration_s());
}

}  // namespace assay::cli
