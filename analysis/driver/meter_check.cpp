#include "analysis/driver/meter_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "analysis/driver/parameter_values.h"
#include "analysis/uncertainty/rounded_text.h"

namespace assay::analysis {

std::optional<MeterDisagreement> meter_disagreement(const DriverInputs& inputs, const FitInputs& without,
                                                    const Fit& alone) {
    if (!alone.converged) return std::nullopt;
    const MeterResistance& meter = *inputs.meter;
    const double curve_ohm = std::exp(alone.parameters[FitLayout::re]);
    double variance = alone.scatter(FitLayout::re, FitLayout::re) * curve_ohm * curve_ohm +
                      meter.standard_uncertainty_ohm * meter.standard_uncertainty_ohm;
    const Surroundings surroundings{inputs.area_m2.value_or(1.0), inputs.air};
    for (const DoubtCause& cause : doubt_causes(inputs, without, alone, surroundings)) {
        const double change = cause.parameters[FitLayout::re] * curve_ohm;
        variance += change * change;
    }
    const double off = meter.ohm - curve_ohm;
    if (std::abs(off) < std::max(3.0 * std::sqrt(variance), 0.01 * curve_ohm)) return std::nullopt;
    // Common practice, no source: a meter's leads and clips are some tenths of an ohm. More than that is a
    // resistor misstated, or another thing that was read.
    constexpr double of_leads_ohm = 1.0;
    const std::string jig = "check series_ohm and lead_ohm of the jig with a resistor of known value";
    const std::string reading = "read the meter with clips on the bare terminals, its leads subtracted";
    return MeterDisagreement{
        {"meter-disagrees",
         "the meter's resistance of " + rounded_text(meter.ohm, 3) + " ohm and the curve's own of " +
             rounded_text(curve_ohm, 3) + " ohm are further apart than their doubts allow",
         off > 0.0 && off < of_leads_ohm ? reading + "; then " + jig : jig + "; then " + reading},
        std::abs(off) > 0.15 * curve_ohm};
}

DriverResult without_meter(DriverInputs inputs, const MeterDisagreement& why) {
    inputs.meter.reset();
    DriverResult result = driver_parameters(inputs);
    Remark remark = why.remark;
    remark.text += "; the fit goes without the meter";
    if (why.by_far) {
        remark.text += ", and what hangs on ohms is not given";
        constexpr std::array of_ohms{Parameter::re, Parameter::res, Parameter::le, Parameter::bl,
                                     Parameter::sensitivity_2v83};
        for (const Parameter parameter : of_ohms) {
            const std::string_view name = parameter_name(parameter).name;
            const auto hangs_on_it = [&](const auto& entry) { return entry.first == name; };
            if (std::erase_if(result.quantities, hangs_on_it) > 0)
                result.absent.emplace_back(name, Absent{why.remark.code, why.remark.text, why.remark.advice});
        }
        std::erase_if(result.textbook,
                      [](const DriverResult::Textbook& entry) { return entry.name == "three_point_bl_tm"; });
    }
    result.remarks.insert(result.remarks.begin(), std::move(remark));
    return result;
}

}  // namespace assay::analysis
