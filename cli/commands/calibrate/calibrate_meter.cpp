// Scales from a meter's reading while the program plays: inputs at the probe's tip, outputs at the card's
// terminal.
#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "analysis/units.h"
#include "cli/commands/calibrate/calibrating.h"

namespace assay::cli {

namespace {

constexpr double same_before_and_after = 0.003;

}  // namespace

int run_calibrate_input_live(const CalibrateOptions& options, const Manner& manner) {
    auto bench = CalibrationBench::open(options, manner);
    if (!bench) return report(bench.error());
    const auto index = find_part((*bench)->bench().inputs, options.name, "input", "name one with --input");
    if (!index) return report(index.error());
    const capture::Input& input = (*bench)->bench().inputs[*index];
    const auto meter = meter_that_read((*bench)->bench(), options.meter, options.frequency_hz, manner);
    if (!meter) return report(meter.error());
    if (const auto sounding = (*bench)->sound(all_outputs((*bench)->bench())); !sounding)
        return report(sounding.error());
    const auto before = (*bench)->read({*index});
    if (!before) return report(before.error());
    const auto volts = (*bench)->meter_volts(fmt::format("at the tip of probe \"{}\"", input.name));
    if (!volts) return report(volts.error());
    const auto after = (*bench)->read({*index});
    if (!after) return report(after.error());
    (*bench)->quiet();
    const double moved = after->rms[0] / before->rms[0] - 1.0;
    if (std::abs(moved) > same_before_and_after) {
        return report(
            {capture::FaultKind::untrusted_capture,
             fmt::format("the tone's level moved by {:+.2f} % while the meter was read", 100.0 * moved),
             std::nullopt, "let everything warm up and try again"});
    }
    const double rms = 0.5 * (before->rms[0] + after->rms[0]);
    const double scale = *volts / rms / input.attenuation;
    BenchEdits edits{{"volts_at_full_scale", fmt::format("{:.6g}", scale)},
                     {"calibrated_at_hz", fmt::format("{:.6g}", options.frequency_hz)},
                     {"calibrated_at_volts", fmt::format("{:.6g}", *volts)},
                     {"calibrated_on", today()}};
    add_meter(*meter, edits);
    if (const auto written = (*bench)->write("input", input.name, edits); !written)
        return report(written.error());
    remark_on_change(input, scale, manner);
    print_answer(manner,
                 manner.json
                     ? fmt::format("{{\"input\": {}, \"volts_at_full_scale\": {:.9g}, \"was\": {:.9g}}}\n",
                                   json_text(input.name), scale, input.volts_at_full_scale)
                     : fmt::format("input \"{}\": {:.5g} V at full scale at the card's terminal (was {:.5g} "
                                   "V), {:.5g} V at the probe tip; repeats within {:.3f} %\n",
                                   input.name, scale, input.volts_at_full_scale, scale * input.attenuation,
                                   100.0 * std::abs(moved)));
    return exit_done;
}

int run_calibrate_output(const CalibrateOptions& options, const Manner& manner) {
    auto bench = CalibrationBench::open(options, manner);
    if (!bench) return report(bench.error());
    const auto index = find_part((*bench)->bench().outputs, options.name, "output", "name one with --name");
    if (!index) return report(index.error());
    const capture::Output& output = (*bench)->bench().outputs[*index];
    if (!options.meter.empty()) {
        if (const auto fits = check_meter((*bench)->bench(), options.meter, options.frequency_hz); !fits)
            return report(fits.error());
    }
    if (const auto sounding = (*bench)->sound({*index}); !sounding) return report(sounding.error());
    const auto volts = (*bench)->meter_volts(
        fmt::format("at the card's output {} \"{}\", with the unit connected", output.channel, output.name));
    if (!volts) return report(volts.error());
    (*bench)->quiet();
    const double scale = *volts * std::numbers::sqrt2 / analysis::ratio_from_decibels(options.level_dbfs);
    const BenchEdits edits{{"volts_at_full_scale", fmt::format("{:.6g}", scale)},
                           {"calibrated_at_hz", fmt::format("{:.6g}", options.frequency_hz)},
                           {"calibrated_at_volts", fmt::format("{:.6g}", *volts)},
                           {"calibrated_on", today()}};
    if (const auto written = (*bench)->write("output", output.name, edits); !written)
        return report(written.error());
    print_answer(manner, manner.json
                             ? fmt::format("{{\"output\": {}, \"volts_at_full_scale\": {:.9g}}}\n",
                                           json_text(output.name), scale)
                             : fmt::format("output \"{}\": {:.5g} V at full scale\n", output.name, scale));
    return exit_done;
}

}  // namespace assay::cli
