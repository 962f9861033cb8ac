// Values from ratios: a divider against another input on the same point, a load against one precise resistor.
// No meter takes part, so the result is as good as the reference.
#include <fmt/format.h>

#include <cmath>

#include "analysis/units.h"
#include "cli/commands/calibrate/calibrating.h"
#include "cli/commands/calibrate/jig_share.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using capture::FaultKind;

std::string percent_text(double relative) {
    return fmt::format("{:.3g}", 100.0 * relative);
}

}  // namespace

int run_calibrate_divider(const CalibrateOptions& options, const Manner& manner) {
    auto opened = CalibrationBench::open(options, manner);
    if (!opened) return report(opened.error());
    CalibrationBench& bench = **opened;
    const auto index = find_part(bench.bench().inputs, options.name, "input", "name one with --name");
    if (!index) return report(index.error());
    const auto reference_name = bench.questions().text(
        {"reference", "Name of the input whose scale is known, on the same point", ""});
    if (!reference_name) return report(reference_name.error());
    const auto reference = find_part(bench.bench().inputs, *reference_name, "input",
                                     "answer with the name of an [[input]] of the bench file");
    if (!reference) return report(reference.error());
    const capture::Input& input = bench.bench().inputs[*index];
    const capture::Input& known = bench.bench().inputs[*reference];
    if (*index == *reference)
        return report({FaultKind::bad_arguments, "an input cannot be its own reference", std::nullopt,
                       "name another one"});
    if (const auto ready =
            wait_for(bench, "connected",
                     fmt::format("Put the tips of \"{}\" and \"{}\" on one point.", input.name, known.name));
        !ready)
        return report(ready.error());
    if (const auto sounding = bench.sound(all_outputs(bench.bench())); !sounding)
        return report(sounding.error());
    const auto reading = bench.read({*reference, *index});
    if (!reading) return report(reading.error());
    bench.quiet();
    // Each scale holds where it was found; stated corners carry both to the tone that plays now.
    const double tip_v =
        reading->rms[0] * std::abs(known.volts_per_unit()) * scale_correction(known, reading->frequency_hz);
    const double attenuation = tip_v / (reading->rms[1] * input.volts_at_full_scale *
                                        scale_correction(input, reading->frequency_hz));
    if (attenuation < 0.999) {
        return report({FaultKind::untrusted_capture,
                       fmt::format("\"{}\" sees more than \"{}\": an attenuation of {:.4g} is none",
                                   input.name, known.name, attenuation),
                       std::nullopt, "check that both tips are on one point, and both volts_at_full_scale"});
    }
    const double doubt = std::hypot(scale_doubt(known), reading->ratio_scatter[1]);
    if (known.high_pass_hz.has_value() != input.high_pass_hz.has_value()) {
        say(manner, fmt::format("note: input \"{}\" states no high_pass_hz and is taken to have no coupling; "
                                "inputs of one card have much the same corner",
                                known.high_pass_hz ? input.name : known.name));
    }
    const BenchEdits edits{{"attenuation", fmt::format("{:.6g}", attenuation)},
                           {"uncertainty_percent", percent_text(doubt)},
                           {"meter", std::nullopt},
                           {"tolerance_percent", std::nullopt},
                           {"calibrated_on", today()}};
    if (const auto written = bench.write("input", input.name, edits); !written)
        return report(written.error());
    print_answer(
        manner,
        manner.json
            ? fmt::format("{{\"input\": {}, \"attenuation\": {:.9g}, \"uncertainty_percent\": {:.4g}}}\n",
                          json_text(input.name), attenuation, 100.0 * doubt)
            : fmt::format(
                  "input \"{}\": attenuation {:.6g} (was {:.6g}), standard uncertainty {:.3g} % of the whole "
                  "scale, as good as that of \"{}\"\n",
                  input.name, attenuation, input.attenuation, 100.0 * doubt, known.name));
    return exit_done;
}

int run_calibrate_load(const CalibrateOptions& options, const Manner& manner) {
    auto opened = CalibrationBench::open(options, manner);
    if (!opened) return report(opened.error());
    CalibrationBench& bench = **opened;
    if (!bench.bench().jig) {
        return report(
            {FaultKind::bad_input_file,
             options.bench.string() + ": a load is measured in the impedance jig, and there is none",
             std::nullopt, "add [impedance_jig] with the precise resistor as series_ohm"});
    }
    const capture::ImpedanceJig& jig = *bench.bench().jig;
    if (jig.topology != capture::ImpedanceJig::Topology::series_high || bench.bench().outputs.empty()) {
        return report({FaultKind::bad_input_file,
                       options.bench.string() + ": topology: loads are measured with series-high",
                       std::nullopt, "put the precise resistor between generator and load"});
    }
    const auto index = find_part(bench.bench().loads, options.name, "load", "name one with --name");
    if (!index) return report(index.error());
    const capture::Load& load = bench.bench().loads[*index];
    const auto in_jig = share_in_jig(
        bench, "load-in-jig",
        fmt::format(
            "Put the driver-side input back, the load \"{}\" in the driver's place, the input's tip and "
            "ground right on the points that the probes will touch.",
            load.name));
    if (!in_jig) return report(in_jig.error());
    const std::complex<double> h = in_jig->share;
    std::complex<double> across = jig.series_ohm * h / (1.0 - h);
    if (jig.input_resistance_ohm) across = 1.0 / (1.0 / across - 1.0 / *jig.input_resistance_ohm);
    const double ohm = across.real();
    if (!(ohm > 0.0)) {
        return report(
            {FaultKind::untrusted_capture,
             fmt::format("the jig reads {:.4g} ohm: the load is open, shorted, or the inputs are swapped",
                         ohm),
             std::nullopt, "look at the clips; the driver-side input sits between resistor and load"});
    }
    double series_doubt = 0.0;
    for (const capture::RelativeDoubt& doubt : jig.series_doubts)
        series_doubt = std::hypot(series_doubt, doubt.relative);
    // dZ/Z = dR/R + (1 + Z/R) dh/h.
    const double ratio_doubt = in_jig->scatter * std::abs(1.0 + across / jig.series_ohm);
    const double doubt = std::hypot(series_doubt, ratio_doubt);
    const BenchEdits edits{{"resistance_ohm", fmt::format("{:.6g}", ohm)},
                           {"uncertainty_percent", percent_text(doubt)},
                           {"tolerance_percent", std::nullopt},
                           {"calibrated_on", today()}};
    if (const auto written = bench.write("load", load.name, edits); !written) return report(written.error());
    const double inductance_uh = 1e6 * across.imag() / (analysis::two_pi * in_jig->frequency_hz);
    print_answer(
        manner,
        manner.json
            ? fmt::format("{{\"load\": {}, \"resistance_ohm\": {:.9g}, \"uncertainty_percent\": {:.4g}, "
                          "\"inductance_uh\": {:.4g}}}\n",
                          json_text(load.name), ohm, 100.0 * doubt, inductance_uh)
            : fmt::format("load \"{}\": {:.5g} ohm at {:.4g} Hz (was {:.5g}), standard uncertainty {:.3g} %; "
                          "{:.3g} uH in series\n",
                          load.name, ohm, in_jig->frequency_hz, load.resistance_ohm, 100.0 * doubt,
                          inductance_uh));
    if (series_doubt == 0.0) say(manner, "note: series_ohm states no uncertainty, so it was taken as exact");
    return exit_done;
}

}  // namespace assay::cli
