// The jig's series resistor against one precise resistor in the driver's place. No meter takes part, so the
// value is as good as the resistor that is known.
#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "cli/commands/calibrate/jig_share.h"

namespace assay::cli {

using capture::FaultKind;

int run_calibrate_series(const CalibrateOptions& options, const Manner& manner) {
    auto opened = CalibrationBench::open(options, manner, UnitKind::driver);
    if (!opened) return report(opened.error());
    CalibrationBench& bench = **opened;
    if (!bench.bench().jig || bench.bench().outputs.empty()) {
        return report({FaultKind::bad_input_file,
                       options.bench.string() + ": there is no [impedance_jig], or no [[output]] to play on",
                       std::nullopt, "add them: series_ohm may be what is printed on the resistor"});
    }
    const capture::ImpedanceJig& jig = *bench.bench().jig;
    const auto known_ohm = bench.questions().number(
        {"known_ohm", "Ohms of the resistor that is known precisely", ""}, 0.01, 1e6);
    if (!known_ohm) return report(known_ohm.error());
    const auto tolerance_percent = bench.questions().number(
        {"known_tolerance_percent",
         "Its tolerance, per cent (0.1 for a precise one; 1 is printed on common ones)", ""},
        0.0, 20.0);
    if (!tolerance_percent) return report(tolerance_percent.error());
    const auto share =
        share_in_jig(bench, "known-in-jig",
                     "Put the driver-side input back between the two parts of the jig, the known "
                     "resistor in the driver's place.");
    if (!share) return report(share.error());
    // h = Z2 / (Z1 + Z2) of what lies above and below the driver-side input.
    const std::complex<double> h = share->share;
    const bool high = jig.topology == capture::ImpedanceJig::Topology::series_high;
    std::complex<double> known = *known_ohm + jig.lead_ohm;
    std::complex<double> series = 0.0;
    if (high) {
        if (jig.input_resistance_ohm) known = 1.0 / (1.0 / known + 1.0 / *jig.input_resistance_ohm);
        series = known * (1.0 - h) / h;
    } else {
        series = known * h / (1.0 - h);
        if (jig.input_resistance_ohm) series = 1.0 / (1.0 / series - 1.0 / *jig.input_resistance_ohm);
    }
    const double ohm = series.real();
    // dR/R = dZ/Z + dh/h / (1 - h), either way round; the known resistor's limits are rectangular (JCGM
    // 100, 4.3.7).
    const double doubt =
        std::hypot(*tolerance_percent / 100.0 / std::numbers::sqrt3, share->scatter / std::abs(1.0 - h));
    const BenchEdits edits{{"series_ohm", fmt::format("{:.6g}", ohm)},
                           {"uncertainty_percent", fmt::format("{:.3g}", 100.0 * doubt)},
                           {"tolerance_percent", std::nullopt},
                           {"calibrated_on", today()}};
    if (const auto written = bench.write("impedance_jig", "", edits); !written)
        return report(written.error());
    print_answer(
        manner,
        manner.json
            ? fmt::format("{{\"series_ohm\": {:.9g}, \"uncertainty_percent\": {:.4g}}}\n", ohm, 100.0 * doubt)
            : fmt::format("series resistor: {:.5g} ohm at {:.4g} Hz (was {:.5g}), standard uncertainty "
                          "{:.3g} %\n",
                          ohm, share->frequency_hz, jig.series_ohm, 100.0 * doubt));
    if (*tolerance_percent == 0.0) say(manner, "note: the known resistor was taken as exact");
    return exit_done;
}

}  // namespace assay::cli
