#include "analysis/driver/parameters.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/driver/fit_data.h"
#include "analysis/driver/loaded_checks.h"
#include "analysis/driver/meter_check.h"
#include "analysis/driver/parameter_values.h"
#include "analysis/driver/textbook.h"
#include "analysis/uncertainty/rounded_text.h"

namespace assay::analysis {

namespace {

std::string three_digits(double value) {
    return rounded_text(value, 3);
}

constexpr std::array mechanical{Parameter::mms, Parameter::cms, Parameter::rms, Parameter::bl};
constexpr std::array acoustic{Parameter::vas, Parameter::efficiency, Parameter::sensitivity_1w,
                              Parameter::sensitivity_2v83};

template <class List>
bool in(const List& list, Parameter parameter) {
    return std::find(list.begin(), list.end(), parameter) != list.end();
}

DriverResult all_absent(DriverResult result, const Absent& why) {
    for (std::size_t i = 0; i < parameter_count; ++i)
        result.absent.emplace_back(parameter_name(static_cast<Parameter>(i)).name, why);
    result.absent.emplace_back("creep_lambda", why);
    return result;
}

/// Why each parameter cannot be given; nothing where it can.
struct Reasons {
    std::optional<Absent> loading{};  // no usable mass or box
    bool mass = false;                // a mass was measured
    bool area = false;
    bool coil_at_1khz = false;

    std::optional<Absent> of(Parameter parameter) const {
        if (parameter == Parameter::le && !coil_at_1khz) {
            return Absent{"band", "the curve does not reach 1 kHz", "measure up to 2 kHz at least"};
        }
        const Absent no_area{"no-area", "the effective area of the cone is not stated",
                             "measure from the middle of the surround to its opposite middle and give "
                             "effective_diameter_mm"};
        if (parameter == Parameter::sd && !area) return no_area;
        if (in(mechanical, parameter)) {
            if (loading) return loading;
            if (!mass && !area) return no_area;
        }
        if (in(acoustic, parameter)) {
            if (loading) return loading;
            if (mass && !area) return no_area;
        }
        return std::nullopt;
    }
};

/// Lambda of the logarithmic law with the chosen coil, whether or not the choice took it: about zero is a
/// result.
void add_creep(const DriverInputs& inputs, DriverResult& result) {
    const Fit& best = result.choice.best();
    const SuspensionKind kind = best.layout.model.suspension;
    if (kind == SuspensionKind::loss_slope) {
        result.absent.emplace_back(
            "creep_lambda",
            Absent{"no-creep", "the losses change with frequency in another way than by creep",
                   "begin at a third of fs, where creep shows best"});
        return;
    }
    Fit fit = best;
    if (kind == SuspensionKind::plain) {
        const FitModel model{best.layout.model.coil, SuspensionKind::logarithmic_creep};
        const FitLayout layout = fit_layout(model, result.fitted);
        Eigen::VectorXd start = Eigen::VectorXd::Zero(layout.count);
        start.head(layout.creep) = best.parameters.head(layout.creep);
        start.tail(layout.count - layout.creep - 1) = best.parameters.tail(layout.count - layout.creep - 1);
        fit = fit_driver(model, result.fitted, start);
    }
    const Eigen::Index at = fit.layout.creep;
    const double scatter = fit.converged ? std::sqrt(fit.scatter(at, at)) : 0.0;
    if (!fit.converged || fit.parameters[at] < -3.0 * scatter) {
        result.absent.emplace_back("creep_lambda",
                                   Absent{"no-creep", "the curve shows no creep of the suspension",
                                          "begin at a third of fs, where creep shows best"});
        return;
    }
    Quantity lambda{fit.parameters[at], "", {}};
    lambda.contributions["test:" + inputs.test + ":scatter"] = scatter;
    result.quantities.emplace_back("creep_lambda", lambda);
}

void fit_remarks(DriverResult& result) {
    const Fit& best = result.choice.best();
    const FittedDriver driver = driver_of(best.layout, best.parameters);
    const double fs = driver.cone.fs_hz;
    if (best.relative_residual > 0.03) {
        result.remarks.push_back(
            {"poor-fit",
             "the curve differs from the best model by " + three_digits(100.0 * best.relative_residual) +
                 " % on the average: noise, wrinkles of a loose mount, or a damaged cone",
             "clamp the driver by its frame, clear of surfaces, and measure again"});
    }
    if (result.from_hz > 0.7 * fs) {
        result.remarks.push_back({"band",
                                  "the curve begins at " + three_digits(result.from_hz) +
                                      " Hz, close below the resonance: Re and Q rest on little",
                                  "begin at a third of fs or lower"});
    }
    if (driver.cone.qms < 1.0) {
        result.remarks.push_back({"damped",
                                  "the peak is low and broad (Qms " + three_digits(driver.cone.qms) + ")",
                                  "usual with ferrofluid; else look for a rubbing coil, dirt in the gap or a "
                                  "shorted second coil"});
    }
}

}  // namespace

DriverResult driver_parameters(const DriverInputs& inputs) {
    DriverResult result;
    const Surroundings surroundings{inputs.area_m2.value_or(1.0), inputs.air};
    FitInputs whole;
    whole.curves = inputs.curves;
    whole.meter = inputs.meter;
    whole.air_spring_n_m2 = surroundings.air_spring();
    const auto reading = read_start(whole);
    if (!reading) {
        return all_absent(
            std::move(result),
            {"no-resonance-peak", "the curve in free air has no resonance peak",
             "a seized coil, a blocked gap or a hardened suspension; or the tone began above the peak"});
    }
    const double free_hz = reading->driver.cone.fs_hz;
    Reasons reasons;
    reasons.area = inputs.area_m2.has_value();
    result.fitted.meter = inputs.meter;
    result.fitted.air_spring_n_m2 = whole.air_spring_n_m2;
    const double pressure = inputs.doubts.pressure_hpa / inputs.air.pressure_hpa;
    result.fitted.air_spring_doubt =
        std::hypot(2.0 * inputs.doubts.area, inputs.doubts.box_volume, std::max(pressure, 1e-6));
    const double top_hz = fit_top_hz(free_hz);
    result.from_hz = inputs.curves.front().curve.points.front().frequency_hz;
    FitInputs free_only = result.fitted;
    std::vector<LoadedCurve> loads;
    for (std::size_t c = 0; c < inputs.curves.size(); ++c) {
        LoadedCurve kept = inputs.curves[c];
        kept.curve = fit_data(kept.curve, top_hz);
        if (kept.free_air()) {
            free_only.curves.push_back(std::move(kept));
        } else if (const auto why = unusable_loading(kept, reading->peaks[c], free_hz)) {
            reasons.loading = why;
        } else {
            loads.push_back(std::move(kept));
        }
    }
    if (!loads.empty() || inputs.meter) {
        // What else was measured is held against the curves in free air, so it has no part in their fit.
        FitInputs curves_only = free_only;
        curves_only.meter.reset();
        const auto start = read_start(curves_only);
        const ModelChoice alone = start ? choose_model(curves_only, *start) : ModelChoice{};
        if (inputs.meter && !alone.tried.empty()) {
            if (const auto why = meter_disagreement(inputs, curves_only, alone.best()))
                return without_meter(inputs, *why);
        }
        std::erase_if(loads, [&](const LoadedCurve& taken) {
            if (alone.tried.empty()) return false;
            const auto why = misfit(curves_only, alone.best(), taken, reading->mms_kg);
            if (why) reasons.loading = why;
            return why.has_value();
        });
    }
    const bool loaded = !loads.empty();
    result.fitted.curves = free_only.curves;
    for (LoadedCurve& taken : loads) {
        reasons.mass = reasons.mass || taken.added_mass_kg > 0.0;
        result.fitted.curves.push_back(std::move(taken));
    }
    for (const LoadedCurve& taken : result.fitted.curves) {
        if (!taken.curve.points.empty())
            result.to_hz = std::max(result.to_hz, taken.curve.points.back().frequency_hz);
    }
    if (loaded && reasons.loading) {
        result.remarks.push_back(
            {reasons.loading->code, reasons.loading->text + "; it is left out", reasons.loading->advice});
        reasons.loading.reset();
    }
    if (!loaded && !reasons.loading) {
        reasons.loading =
            Absent{"free-air-only", "free air alone tells fs, Re and the Q's, not mass or compliance",
                   "measure again with a known mass on the cone (with_mass) or in a known closed "
                   "box (in_box)"};
    }
    reasons.coil_at_1khz = result.to_hz >= 1000.0;

    const auto start = read_start(result.fitted);
    if (start) result.choice = choose_model(result.fitted, *start);
    if (result.choice.tried.empty()) {
        return all_absent(std::move(result), {"no-fit", "no model of a driver fits the curve",
                                              "look at the curve: it may not be that of a driver"});
    }
    const Fit& best = result.choice.best();
    if (loaded) {
        if (auto why = contradiction(inputs, result.fitted, best)) reasons.loading = std::move(why);
        for (Remark& remark : loading_remarks(inputs, result.fitted, best))
            result.remarks.push_back(std::move(remark));
    }
    const auto quantities = parameter_quantities(inputs, result.fitted, result.choice, surroundings);
    for (std::size_t i = 0; i < parameter_count; ++i) {
        const auto parameter = static_cast<Parameter>(i);
        const char* name = parameter_name(parameter).name;
        if (const auto why = reasons.of(parameter))
            result.absent.emplace_back(name, *why);
        else
            result.quantities.emplace_back(name, quantities[i]);
    }
    add_creep(inputs, result);
    fit_remarks(result);
    add_textbook(inputs, surroundings, result);
    return result;
}

}  // namespace assay::analysis
