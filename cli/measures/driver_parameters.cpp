#include "cli/measures/driver_parameters.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "analysis/driver/parameter_values.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/jig/driver_inputs.h"
#include "cli/measures/jig/fitted_driver.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli::driver_parameters {

namespace {

using analysis::Parameter;

/// Measured points with the model beside them; the whole curve, also above the band of the fit.
analysis::Curve fit_curve(const analysis::DriverResult& result, const analysis::LoadedCurve& taken,
                          std::size_t fitted) {
    const analysis::Fit& fit = result.choice.best();
    analysis::Curve curve;
    curve.columns = {{"frequency_hz"},        {"magnitude_ohm"},   {"phase_deg"},
                     {"model_magnitude_ohm"}, {"model_phase_deg"}, {"residual_percent"}};
    for (const analysis::ImpedancePoint& point : taken.curve.points) {
        const std::complex<double> model =
            analysis::fitted_impedance(fit.layout, fit.parameters, result.fitted, fitted, point.frequency_hz);
        const std::array<double, 6> row{point.frequency_hz,
                                        std::abs(point.z_ohm),
                                        std::arg(point.z_ohm) * analysis::degrees,
                                        std::abs(model),
                                        std::arg(model) * analysis::degrees,
                                        100.0 * std::abs(model - point.z_ohm) / std::abs(point.z_ohm)};
        for (std::size_t c = 0; c < row.size(); ++c) curve.columns[c].values.push_back(row[c]);
    }
    return curve;
}

void add_conditions(const analysis::DriverInputs& inputs, const analysis::DriverResult& found,
                    TestResult& result) {
    const auto add = [&](const char* name, Condition value) {
        result.conditions.emplace_back(name, std::move(value));
    };
    add("temperature_c", inputs.air.temperature_c);
    add("pressure_hpa", inputs.air.pressure_hpa);
    add("humidity_percent", inputs.air.humidity_percent);
    if (inputs.meter) add("dc_resistance_ohm", inputs.meter->ohm);
    if (found.choice.tried.empty()) return;
    const analysis::Fit& fit = found.choice.best();
    add("suspension_model", analysis::suspension_name(fit.layout.model.suspension));
    add_fitted_driver(analysis::driver_of(fit.layout, fit.parameters), result.conditions);
    add("models_tried", static_cast<double>(found.choice.screened));
    add("models_within_reach", static_cast<double>(found.choice.within_reach));
    add("fit_from_hz", found.from_hz);
    add("fit_to_hz", found.to_hz);
    add("fit_residual_percent", 100.0 * fit.relative_residual);
    add("fit_model_error_percent", 100.0 * fit.floor);
    for (const analysis::DriverResult::Textbook& value : found.textbook) {
        result.conditions.emplace_back(value.name, value.value);
        result.conditions.emplace_back(value.name + "_expected", value.expected);
    }
    for (std::size_t c = 0; c < found.fitted.curves.size(); ++c) {
        const analysis::LoadedCurve& taken = found.fitted.curves[c];
        if (taken.free_air()) continue;
        const analysis::Loading loading = analysis::loading_of(fit.layout, fit.parameters, found.fitted, c);
        const double ratio = std::sqrt((1.0 + loading.stiffness) / (1.0 + loading.mass));
        result.conditions.emplace_back("resonance_ratio." + taken.test, ratio);
    }
}

/// One warning for all that are absent by the same reason.
void add_absent(const analysis::DriverResult& found, Numbers& numbers) {
    std::vector<std::pair<std::string, analysis::Absent>> reasons;
    for (const auto& [name, why] : found.absent) {
        numbers.absent.emplace_back(name, why);
        const auto same = std::find_if(reasons.begin(), reasons.end(),
                                       [&why = why](const auto& one) { return one.second.text == why.text; });
        if (same == reasons.end())
            reasons.emplace_back(name, why);
        else
            same->first += ", " + name;
    }
    for (const auto& [names, why] : reasons) numbers.warn(why.code, names + ": " + why.text, why.advice);
}

/// A curve from a file has frequencies of its own, no player's.
bool played_free_air(const Setup& setup) {
    for (const std::string& id : setup.test->names("free_air")) {
        const auto named = setup.named ? setup.named(id) : std::nullopt;
        if (named && !named->test->text("from_file")) return true;
    }
    return false;
}

TestResult evaluate(const Setup& setup, std::span<const Take>) {
    TestResult result;
    result.measure = "driver-parameters";
    const auto inputs = driver_inputs(setup);
    if (!inputs) {
        result.fault = inputs.error();
        return result;
    }
    const analysis::DriverResult found = analysis::driver_parameters(*inputs);
    add_readings(*setup.test, result);
    add_conditions(*inputs, found, result);
    for (auto [name, quantity] : found.quantities) {
        if (name == "fs_hz" && played_free_air(setup)) add_clock_doubt(quantity);
        result.whole.add(name, std::move(quantity));
    }
    add_absent(found, result.whole);
    for (const analysis::Remark& remark : found.remarks)
        result.whole.warn(remark.code, remark.text, remark.advice);
    if (found.choice.tried.empty()) return result;
    bool first = true;
    for (std::size_t c = 0; c < found.fitted.curves.size(); ++c) {
        for (const analysis::LoadedCurve& taken : inputs->curves) {
            if (taken.test != found.fitted.curves[c].test) continue;
            result.whole.curves.emplace_back(first ? "fit" : "fit_" + taken.test, fit_curve(found, taken, c));
            first = false;
        }
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "driver-parameters";
    measure.summary = "Thiele-Small parameters of a driver, from its impedance tests";
    measure.plays = false;
    measure.fields = driver_parameters_fields();
    const auto entry = [&](Parameter parameter, const char* help) {
        const analysis::ParameterName name = analysis::parameter_name(parameter);
        measure.quantities.push_back({name.name, name.unit, false, help});
    };
    entry(Parameter::fs, "resonance in free air");
    entry(Parameter::re, "resistance of the coil to direct current");
    entry(Parameter::res, "height of the resonance peak above Re");
    entry(Parameter::qms, "Q of the resonance by mechanical losses, as the peak shows it");
    entry(Parameter::qes, "Q of the resonance by the coil's braking");
    entry(Parameter::qts, "Q by the mechanical losses and the coil's braking together");
    entry(Parameter::le, "inductance of the coil at 1 kHz");
    entry(Parameter::mms, "moving mass, with the air that moves along in free air");
    entry(Parameter::cms, "compliance of the suspension at resonance");
    entry(Parameter::rms, "mechanical loss at resonance");
    entry(Parameter::bl, "force factor of coil and magnet");
    entry(Parameter::vas, "volume of air as compliant as the suspension, at the stated pressure");
    entry(Parameter::sd, "effective area of the cone");
    entry(Parameter::efficiency, "acoustic power of 1 W into Re, in half space");
    entry(Parameter::sensitivity_1w, "level at 1 m in half space, 1 W into Re, in the piston range");
    entry(Parameter::sensitivity_2v83, "level at 1 m in half space at 2.83 V, which is 1 W into 8 ohm");
    measure.quantities.push_back(
        {"creep_lambda", "", false, "share by which the suspension is softer at a tenth of the frequency"});
    measure.check = check_driver_parameters;
    measure.next = [](const Setup&, std::span<const Take>) { return std::optional<capture::Tone>{}; };
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::driver_parameters
