#include "analysis/driver/textbook.h"

#include <array>
#include <cmath>

#include "analysis/driver/fit_start.h"
#include "analysis/driver/three_point.h"
#include "analysis/uncertainty/rounded_text.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

std::string four_digits(double value) {
    return rounded_text(value, 4);
}

struct Reading {
    std::optional<ThreePoint> free{};
    std::string why_not{};
    std::optional<double> mms_kg{};
    std::optional<double> vas_m3{};
};

/// All curves read in the textbook's way, measured ones or fitted ones.
Reading read(const std::vector<LoadedCurve>& curves,
             const std::vector<std::vector<MagnitudePoint>>& magnitudes, double re_ohm) {
    Reading reading;
    for (std::size_t c = 0; c < curves.size(); ++c) {
        if (!curves[c].free_air()) continue;
        const ThreePointReading found = three_point(magnitudes[c], re_ohm);
        reading.free = found.value;
        reading.why_not = found.why_not;
        break;
    }
    if (!reading.free) return reading;
    for (std::size_t c = 0; c < curves.size(); ++c) {
        if (curves[c].free_air()) continue;
        const ThreePointReading found = three_point(magnitudes[c], re_ohm);
        if (!found.value) continue;
        const double ratio = found.value->fs_hz / reading.free->fs_hz;
        if (curves[c].added_mass_kg > 0.0 && !reading.mms_kg && ratio < 1.0)
            reading.mms_kg = curves[c].added_mass_kg / (1.0 / (ratio * ratio) - 1.0);
        if (curves[c].box_m3 > 0.0 && !reading.vas_m3)
            reading.vas_m3 = curves[c].box_m3 * (ratio * found.value->qes / reading.free->qes - 1.0);
    }
    return reading;
}

}  // namespace

void add_textbook(const DriverInputs& inputs, const Surroundings& surroundings, DriverResult& result) {
    const Fit& fit = result.choice.best();
    const double re_ohm = inputs.meter ? inputs.meter->ohm : std::exp(fit.parameters[FitLayout::re]);
    std::vector<std::vector<MagnitudePoint>> measured;
    std::vector<std::vector<MagnitudePoint>> model;
    for (std::size_t c = 0; c < result.fitted.curves.size(); ++c) {
        measured.push_back(magnitude_of(result.fitted.curves[c].curve));
        model.push_back(measured.back());
        for (MagnitudePoint& point : model.back()) {
            point.magnitude_ohm =
                std::abs(fitted_impedance(fit.layout, fit.parameters, result.fitted, c, point.frequency_hz));
        }
    }
    const Reading told = read(result.fitted.curves, measured, re_ohm);
    const Reading expected = read(result.fitted.curves, model, re_ohm);
    if (!told.free) {
        result.remarks.push_back({"three-point",
                                  "the textbook's three points cannot be read: " + told.why_not,
                                  "none needed, the fit stands by itself"});
        return;
    }
    if (!expected.free) return;
    // Beside the predictable error: what a reading between points and the doubt of the fit allow.
    const auto add = [&](const char* name, double value, double predicted, double reading_error) {
        result.textbook.push_back({std::string("three_point_") + name, value, predicted});
        for (const auto& [key, quantity] : result.quantities) {
            if (key != name) continue;
            const double allowed = std::abs(predicted - quantity.value) + quantity.expanded_uncertainty() +
                                   reading_error * std::abs(quantity.value);
            if (std::abs(value - quantity.value) <= allowed) return;
            result.remarks.push_back({"three-point",
                                      std::string(name) + ": the textbook's three points give " +
                                          four_digits(value) + ", the fit " + four_digits(quantity.value) +
                                          "; that is more than the method's own error of " +
                                          four_digits(predicted - quantity.value),
                                      "look at the curve about the peak for noise, hum or wrinkles"});
        }
    };
    add("fs_hz", told.free->fs_hz, expected.free->fs_hz, 0.005);
    add("qms", told.free->qms, expected.free->qms, 0.02);
    add("qes", told.free->qes, expected.free->qes, 0.02);
    add("qts", told.free->qts, expected.free->qts, 0.02);
    const auto with_mass = [&](const Reading& reading, double& mms_g, double& vas_l, double& bl_tm) {
        const double omega = two_pi * reading.free->fs_hz;
        double mms_kg = 0.0;
        if (reading.mms_kg)
            mms_kg = *reading.mms_kg;
        else if (reading.vas_m3)
            mms_kg = surroundings.air_spring() / (omega * omega * *reading.vas_m3);
        mms_g = 1e3 * mms_kg;
        vas_l = reading.mms_kg ? 1e3 * surroundings.air_spring() / (omega * omega * mms_kg)
                               : 1e3 * reading.vas_m3.value_or(0.0);
        bl_tm = std::sqrt(omega * mms_kg * re_ohm / reading.free->qes);
        return mms_kg > 0.0 && std::isfinite(mms_kg);
    };
    double value[3] = {};
    double predicted[3] = {};
    if (!with_mass(told, value[0], value[1], value[2])) return;
    if (!with_mass(expected, predicted[0], predicted[1], predicted[2])) return;
    constexpr std::array names{"mms_g", "vas_l", "bl_tm"};
    for (std::size_t i = 0; i < names.size(); ++i) {
        for (const auto& entry : result.quantities) {
            if (entry.first == names[i]) add(names[i], value[i], predicted[i], 0.05);
        }
    }
}

}  // namespace assay::analysis
