#include "cli/measures/scale.h"

#include <numbers>

namespace assay::cli {

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

analysis::Quantity load_power(const capture::Load& load, const analysis::Quantity& voltage) {
    const double power_w = voltage.value * voltage.value / load.resistance_ohm;
    analysis::Quantity power =
        analysis::combine(power_w, "W", {{&voltage, 2.0 * voltage.value / load.resistance_ohm}});
    for (const capture::RelativeDoubt& doubt : load.resistance_doubts) {
        power.contributions[doubt.source_id] -= power_w * doubt.relative;
    }
    return power;
}

analysis::Quantity power_at(const capture::Load& load, const analysis::Quantity& voltage,
                            double frequency_hz) {
    const double r = load.resistance_ohm;
    const double x = 2.0 * std::numbers::pi * frequency_hz * load.inductance_uh.value_or(0.0) * 1e-6;
    const double conductance = r / (r * r + x * x);
    const double power_w = voltage.value * voltage.value * conductance;
    analysis::Quantity power =
        analysis::combine(power_w, "W", {{&voltage, 2.0 * voltage.value * conductance}});
    for (const capture::RelativeDoubt& doubt : load.resistance_doubts) {
        power.contributions[doubt.source_id] -= power_w * (r * r - x * x) / (r * r + x * x) * doubt.relative;
    }
    return power;
}

void add_doubt(analysis::Quantity& quantity, const std::string& source_id, double standard_uncertainty) {
    if (standard_uncertainty != 0.0) quantity.contributions[source_id] += standard_uncertainty;
}

void add_clock_doubt(analysis::Quantity& frequency_hz) {
    constexpr double relative = 50e-6 / std::numbers::sqrt3;
    frequency_hz.contributions["sound:clock"] += frequency_hz.value * relative;
}

}  // namespace assay::cli
