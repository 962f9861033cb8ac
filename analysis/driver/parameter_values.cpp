#include "analysis/driver/parameter_values.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/driver/fit_weights.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Eigen::Index;
using Eigen::VectorXd;

double& at(ParameterValues& values, Parameter parameter) {
    return values[static_cast<std::size_t>(parameter)];
}

/// What a change of the data, a row for each real and imaginary part, does to the fit.
VectorXd moved_by(const Fit& fit, const VectorXd& change_of_data) {
    return fit.sensitivity * fit.weights.cwiseProduct(change_of_data);
}

/// Change of the model's rows between two sets of inputs, the parameters held.
VectorXd change_of_model(const Fit& fit, const FitInputs& up, const FitInputs& down) {
    VectorXd change = VectorXd::Zero(fit.weights.size());
    Index row = 0;
    for (std::size_t c = 0; c < up.curves.size(); ++c) {
        const FittedDriver driver = driver_of(fit.layout, fit.parameters);
        const Loading with = loading_of(fit.layout, fit.parameters, up, c);
        const Loading against = loading_of(fit.layout, fit.parameters, down, c);
        for (const ImpedancePoint& point : up.curves[c].curve.points) {
            if (!up.curves[c].free_air()) {
                const std::complex<double> half = 0.5 * (impedance_at(driver, with, point.frequency_hz) -
                                                         impedance_at(driver, against, point.frequency_hz));
                change[row] = half.real();
                change[row + 1] = half.imag();
            }
            row += 2;
        }
    }
    return change;
}

/// What a change of the inputs does to the fit: half the difference between the change and its opposite.
template <class Change>
VectorXd moved_by_inputs(const Fit& fit, const FitInputs& fitted, Change change) {
    FitInputs up = fitted;
    FitInputs down = fitted;
    change(up, 1.0);
    change(down, -1.0);
    return -moved_by(fit, change_of_model(fit, up, down));
}

void add_curve_causes(const FitInputs& fitted, const Fit& fit, const Surroundings& surroundings,
                      std::vector<DoubtCause>& all) {
    for (const auto& [source, rows] : systematic_rows(fitted, fit.weights.size()))
        all.push_back({source, moved_by(fit, rows), surroundings, surroundings});
    if (fitted.meter) {
        VectorXd rows = VectorXd::Zero(fit.weights.size());
        rows[2 * static_cast<Index>(fit.points)] = fitted.meter->standard_uncertainty_ohm / fitted.meter->ohm;
        all.push_back({"driver:dc-resistance", moved_by(fit, rows), surroundings, surroundings});
    }
}

void add_loading_causes(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit,
                        const Surroundings& surroundings, std::vector<DoubtCause>& all) {
    bool masses = false;
    for (const LoadedCurve& taken : fitted.curves) masses = masses || taken.added_mass_kg > 0.0;
    if (masses && inputs.doubts.mass_scale > 0.0) {
        const double u = inputs.doubts.mass_scale;
        const VectorXd moved = moved_by_inputs(fit, fitted, [u](FitInputs& changed, double sign) {
            for (LoadedCurve& taken : changed.curves) taken.added_mass_kg *= 1.0 + sign * u;
        });
        all.push_back({"scale:mass", moved, surroundings, surroundings});
    }
    for (std::size_t c = 0; c < fitted.curves.size(); ++c) {
        if (fitted.curves[c].box_m3 <= 0.0 || inputs.doubts.box_volume <= 0.0) continue;
        const double u = inputs.doubts.box_volume;
        const VectorXd moved = moved_by_inputs(fit, fitted, [u, c](FitInputs& changed, double sign) {
            changed.curves[c].box_m3 *= 1.0 + sign * u;
        });
        all.push_back({"test:" + fitted.curves[c].test + ":box-volume", moved, surroundings, surroundings});
    }
}

void add_surrounding_causes(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit,
                            const Surroundings& surroundings, std::vector<DoubtCause>& all) {
    const auto add = [&](const std::string& source, const Surroundings& up, const Surroundings& down) {
        const double high = up.air_spring() / surroundings.air_spring() * fitted.air_spring_n_m2;
        const double low = down.air_spring() / surroundings.air_spring() * fitted.air_spring_n_m2;
        const VectorXd moved = moved_by_inputs(fit, fitted, [high, low](FitInputs& changed, double sign) {
            changed.air_spring_n_m2 = sign > 0.0 ? high : low;
        });
        all.push_back({source, moved, up, down});
    };
    const auto with = [&](double Air::*member, double u) {
        Surroundings changed = surroundings;
        changed.air.*member += u;
        return changed;
    };
    if (inputs.area_m2) {
        Surroundings up = surroundings;
        Surroundings down = surroundings;
        up.area_m2 *= 1.0 + inputs.doubts.area;
        down.area_m2 *= 1.0 - inputs.doubts.area;
        add("driver:area", up, down);
    }
    const DriverDoubts& u = inputs.doubts;
    add("air:temperature", with(&Air::temperature_c, u.temperature_c),
        with(&Air::temperature_c, -u.temperature_c));
    add("air:pressure", with(&Air::pressure_hpa, u.pressure_hpa), with(&Air::pressure_hpa, -u.pressure_hpa));
    add("air:humidity", with(&Air::humidity_percent, u.humidity_percent),
        with(&Air::humidity_percent, -u.humidity_percent));
}

/// Standard uncertainty by the choice of the model.
ParameterValues doubt_of_model(const ModelChoice& choice, const ParameterValues& center,
                               const Surroundings& surroundings) {
    const Fit& fit = choice.best();
    // Where none of the models describes the data down to its scatter, the truth may lie outside of them all:
    // the greatest distance of those that fit about as well.
    constexpr double hangs_together = 3.0;
    const bool misfit = fit.correlation_length > hangs_together;
    ParameterValues greatest{};
    ParameterValues squares{};
    double weights = 1.0;
    for (std::size_t m = 1; m < choice.tried.size(); ++m) {
        const TriedModel& other = choice.tried[m];
        const bool near = misfit && other.fit.unexplained_residual < 2.0 * fit.unexplained_residual;
        if (m >= choice.within_reach && !near) continue;
        const double weight = std::exp(0.5 * (choice.tried.front().criterion - other.criterion));
        weights += weight;
        const ParameterValues values = parameter_values(other.fit.layout, other.fit.parameters, surroundings);
        for (std::size_t i = 0; i < parameter_count; ++i) {
            const double distance = std::abs(values[i] - center[i]);
            greatest[i] = std::max(greatest[i], distance);
            squares[i] += weight * distance * distance;
        }
    }
    if (misfit) return greatest;
    // Else a model counts by how likely the data make it, exp(-BIC / 2): A. E. Raftery, Sociological
    // Methodology 25, 1995, and J. A. Hoeting et al., Statistical Science 14, 1999, section 2 (from memory),
    // about the model that is told.
    for (double& square : squares) square = std::sqrt(square / weights);
    return squares;
}

}  // namespace

ParameterName parameter_name(Parameter parameter) {
    static constexpr std::array<ParameterName, parameter_count> names{{
        {"fs_hz", "Hz"},
        {"re_ohm", "ohm"},
        {"res_ohm", "ohm"},
        {"qms", ""},
        {"qes", ""},
        {"qts", ""},
        {"le_1khz_mh", "mH"},
        {"mms_g", "g"},
        {"cms_mm_per_n", "mm/N"},
        {"rms_kg_per_s", "kg/s"},
        {"bl_tm", "T m"},
        {"vas_l", "L"},
        {"sd_cm2", "cm2"},
        {"efficiency_percent", "%"},
        {"sensitivity_1w_db", "dB"},
        {"sensitivity_2v83_db", "dB"},
    }};
    return names[static_cast<std::size_t>(parameter)];
}

ParameterValues parameter_values(const FitLayout& layout, const VectorXd& x,
                                 const Surroundings& surroundings) {
    ParameterValues values{};
    const FittedDriver driver = driver_of(layout, x);
    const double omega = two_pi * driver.cone.fs_hz;
    at(values, Parameter::fs) = driver.cone.fs_hz;
    at(values, Parameter::re) = driver.re_ohm;
    at(values, Parameter::res) = driver.res_ohm();
    at(values, Parameter::qms) = driver.cone.qms;
    at(values, Parameter::qes) = driver.cone.qes;
    at(values, Parameter::qts) = driver.qts();
    at(values, Parameter::le) = 1e3 * coil_impedance(driver.coil, 1000.0).imag() / (two_pi * 1000.0);
    at(values, Parameter::sd) = 1e4 * surroundings.area_m2;
    if (layout.mass < 0) return values;
    const double mms_kg = mms_kg_of(layout, x);
    const double cms = 1.0 / (omega * omega * mms_kg);
    const double fitted_spring = layout.spring >= 0 ? std::exp(x[layout.spring]) : 1.0;
    const double vas_m3 = surroundings.air_spring() * fitted_spring * cms;
    const double c = sound_speed_m_per_s(surroundings.air);
    const double efficiency = 4.0 * std::numbers::pi * std::numbers::pi / (c * c * c) *
                              std::pow(driver.cone.fs_hz, 3) * vas_m3 / driver.cone.qes;
    const double one_watt = level_of_one_acoustic_watt_db(surroundings.air) + power_decibels(efficiency);
    at(values, Parameter::mms) = 1e3 * mms_kg;
    at(values, Parameter::cms) = 1e3 * cms;
    at(values, Parameter::rms) = omega * mms_kg / driver.cone.qms;
    at(values, Parameter::bl) = std::sqrt(omega * mms_kg * driver.re_ohm / driver.cone.qes);
    at(values, Parameter::vas) = 1e3 * vas_m3;
    at(values, Parameter::efficiency) = 100.0 * efficiency;
    at(values, Parameter::sensitivity_1w) = one_watt;
    // 2.83 V are meant as the root of 8 V^2, one watt into 8 ohm.
    at(values, Parameter::sensitivity_2v83) = one_watt + power_decibels(8.0 / driver.re_ohm);
    return values;
}

std::vector<DoubtCause> doubt_causes(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit,
                                     const Surroundings& surroundings) {
    std::vector<DoubtCause> all;
    add_curve_causes(fitted, fit, surroundings, all);
    add_loading_causes(inputs, fitted, fit, surroundings, all);
    add_surrounding_causes(inputs, fitted, fit, surroundings, all);
    return all;
}

std::array<Quantity, parameter_count> parameter_quantities(const DriverInputs& inputs,
                                                           const FitInputs& fitted, const ModelChoice& choice,
                                                           const Surroundings& surroundings) {
    const Fit& fit = choice.best();
    const ParameterValues center = parameter_values(fit.layout, fit.parameters, surroundings);
    std::array<Quantity, parameter_count> quantities;
    for (std::size_t i = 0; i < parameter_count; ++i) {
        quantities[i].value = center[i];
        quantities[i].unit = parameter_name(static_cast<Parameter>(i)).unit;
    }
    const auto half_difference = [&](const VectorXd& step, const Surroundings& up, const Surroundings& down) {
        ParameterValues high = parameter_values(fit.layout, fit.parameters + step, up);
        const ParameterValues low = parameter_values(fit.layout, fit.parameters - step, down);
        for (std::size_t i = 0; i < parameter_count; ++i) high[i] = 0.5 * (high[i] - low[i]);
        return high;
    };
    for (const DoubtCause& cause : doubt_causes(inputs, fitted, fit, surroundings)) {
        const ParameterValues change = half_difference(cause.parameters, cause.up, cause.down);
        for (std::size_t i = 0; i < parameter_count; ++i) {
            if (change[i] != 0.0) quantities[i].contributions[cause.source] = change[i];
        }
    }
    // The scatter, along the axes of its covariance.
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> axes(fit.scatter);
    ParameterValues scatter{};
    for (Index k = 0; k < fit.layout.count; ++k) {
        const VectorXd step = axes.eigenvectors().col(k) * std::sqrt(std::max(axes.eigenvalues()[k], 0.0));
        const ParameterValues change = half_difference(step, surroundings, surroundings);
        for (std::size_t i = 0; i < parameter_count; ++i) scatter[i] += change[i] * change[i];
    }
    const ParameterValues model = doubt_of_model(choice, center, surroundings);
    for (std::size_t i = 0; i < parameter_count; ++i) {
        if (scatter[i] > 0.0)
            quantities[i].contributions["test:" + inputs.test + ":scatter"] = std::sqrt(scatter[i]);
        if (model[i] > 0.0) quantities[i].contributions["test:" + inputs.test + ":model"] = model[i];
    }
    return quantities;
}

}  // namespace assay::analysis
