#include "cli/measures/recording/scale.h"

#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "analysis/units.h"
#include "cli/files/curves/response_file.h"
#include "cli/measures/sweep/card_response.h"

namespace assay::cli {

namespace {

constexpr double ordinary_high_pass_hz = 10.0;  // common practice, no source
constexpr double ordinary_low_pass_hz = 100e3;  // common practice, no source

double high_pass(double corner_hz, double frequency_hz) {
    return 1.0 / std::hypot(1.0, corner_hz / frequency_hz);
}

double low_pass(double corner_hz, double frequency_hz) {
    return 1.0 / std::hypot(1.0, frequency_hz / corner_hz);
}

}  // namespace

double scale_correction(const capture::Input& input, double frequency_hz) {
    if (!input.high_pass_hz) return 1.0;
    const double found_at =
        input.calibrated_at_hz ? high_pass(*input.high_pass_hz, *input.calibrated_at_hz) : 1.0;
    return found_at / high_pass(*input.high_pass_hz, frequency_hz);
}

void refer_to_scale(const capture::Input& input, analysis::StepReading& reading) {
    if (!input.high_pass_hz || !(reading.frequency_hz > 0.0)) return;
    const double volts = scale_correction(input, reading.frequency_hz);
    for (double* value : {&reading.fundamental_v, &reading.total_v, &reading.noise_v, &reading.hum_v,
                          &reading.fundamental_doubt_v})
        *value *= volts;
    const double undone = scale_correction(input, std::numeric_limits<double>::infinity());
    reading.peak_positive_v *= undone;
    reading.peak_negative_v *= undone;
}

double response_doubt(const Setup& setup, const capture::Input& input, double frequency_hz) {
    if (!input.calibrated_at_hz) return 0.0;
    const double found_hz = *input.calibrated_at_hz;
    // A file that cannot be read is told where it is needed; here it is no better than none.
    if (!input.response_file.empty()) {
        const auto card = read_card_response(setup.folder / input.response_file);
        if (card && card->input == input.name &&
            outdated_by(setup, input, *card, card->rate_hz, nullptr).empty() &&
            card->covers(frequency_hz, found_hz) && card->covers(found_hz, frequency_hz)) {
            const double seen = std::abs(card->at(frequency_hz)) / std::abs(card->at(found_hz));
            return std::abs(seen * scale_correction(input, frequency_hz) - 1.0) / std::numbers::sqrt3;
        }
    }
    const double low = input.high_pass_hz ? 0.0
                                          : high_pass(ordinary_high_pass_hz, frequency_hz) /
                                                    high_pass(ordinary_high_pass_hz, found_hz) -
                                                1.0;
    const double high =
        low_pass(ordinary_low_pass_hz, frequency_hz) / low_pass(ordinary_low_pass_hz, found_hz) - 1.0;
    return std::hypot(low, high) / std::numbers::sqrt3;
}

analysis::Quantity load_voltage(const Setup& setup, const capture::Load& load, double voltage_v,
                                double plus_share, double frequency_hz) {
    analysis::Quantity voltage = load_voltage(*setup.bench, load, voltage_v, plus_share);
    const auto add = [&](std::size_t index, double share) {
        const capture::Input& input = setup.bench->inputs[index];
        add_doubt(voltage, "input:" + input.name + ":response",
                  voltage_v * share * response_doubt(setup, input, frequency_hz));
    };
    add(load.plus, plus_share);
    if (load.minus) add(*load.minus, 1.0 - plus_share);
    return voltage;
}

analysis::Quantity load_voltage(const capture::Bench& bench, const capture::Load& load, double voltage_v,
                                double plus_share) {
    analysis::Quantity voltage{voltage_v, "V", {}};
    const auto add = [&](const capture::Input& input, double share) {
        for (const capture::RelativeDoubt& doubt : input.scale_doubts) {
            voltage.contributions[doubt.source_id] += voltage_v * share * doubt.relative;
        }
    };
    add(bench.inputs[load.plus], plus_share);
    if (load.minus) add(bench.inputs[*load.minus], 1.0 - plus_share);
    return voltage;
}

double conductance_at(const capture::Load& load, double frequency_hz) {
    const double r = load.resistance_ohm;
    const double x = analysis::two_pi * frequency_hz * load.inductance_uh.value_or(0.0) * 1e-6;
    return r / (r * r + x * x);
}

analysis::Quantity power_at(const capture::Load& load, const analysis::Quantity& voltage,
                            double frequency_hz) {
    const double r = load.resistance_ohm;
    const double x = analysis::two_pi * frequency_hz * load.inductance_uh.value_or(0.0) * 1e-6;
    const double conductance = conductance_at(load, frequency_hz);
    const double power_w = voltage.value * voltage.value * conductance;
    analysis::Quantity power =
        analysis::combine(power_w, "W", {{&voltage, 2.0 * voltage.value * conductance}});
    for (const capture::RelativeDoubt& doubt : load.resistance_doubts) {
        power.contributions[doubt.source_id] -= power_w * (r * r - x * x) / (r * r + x * x) * doubt.relative;
    }
    return power;
}

void warn_of_exact(const std::string& what, Numbers& numbers) {
    numbers.warn("taken-as-exact", what + ": no uncertainty is stated, so the value is taken as exact",
                 "state uncertainty_percent, tolerance_percent or meter in the bench file");
}

void add_doubt(analysis::Quantity& quantity, const std::string& source_id, double standard_uncertainty) {
    if (standard_uncertainty != 0.0) quantity.contributions[source_id] += standard_uncertainty;
}

void add_clock_doubt(analysis::Quantity& frequency_hz, const std::string& source_id) {
    constexpr double relative = 50e-6 / std::numbers::sqrt3;
    frequency_hz.contributions[source_id] += frequency_hz.value * relative;
}

}  // namespace assay::cli
