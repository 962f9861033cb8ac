#include "analysis/driver/loaded_checks.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "analysis/uncertainty/rounded_text.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

std::string three_digits(double value) {
    return rounded_text(value, 3);
}

std::string percent(double share) {
    return three_digits(100.0 * share) + " %";
}

/// The magnitude, each point the median of five: noise makes no peaks in it.
std::vector<MagnitudePoint> calm_magnitude(const ImpedanceCurve& curve) {
    std::vector<MagnitudePoint> calm = magnitude_of(curve);
    const std::vector<MagnitudePoint> raw = calm;
    for (std::size_t i = 2; i + 2 < raw.size(); ++i) {
        std::array<double, 5> near{};
        for (std::size_t k = 0; k < near.size(); ++k) near[k] = raw[i + k - 2].magnitude_ohm;
        std::nth_element(near.begin(), near.begin() + 2, near.end());
        calm[i].magnitude_ohm = near[2];
    }
    return calm;
}

void mass_remarks(const LoadedCurve& taken, double mms_kg, std::vector<Remark>& remarks) {
    const double ratio = std::sqrt(1.0 + taken.added_mass_kg / mms_kg);
    const double shift = 1.0 - 1.0 / ratio;
    const std::string advice = "20 to 50 % are right: about " + three_digits(1e3 * mms_kg) +
                               " g of putty, firm, in a ring near the dust cap, would give 29 %";
    if (shift < 0.15) {
        remarks.push_back({"small-shift",
                           taken.test + ": the added mass lowers the resonance by " + percent(shift) +
                               " only, so that small errors grow large in Mms and Vas",
                           advice});
    } else if (shift > 0.55) {
        remarks.push_back({"large-shift",
                           taken.test + ": the added mass lowers the resonance by " + percent(shift) +
                               ": so heavy a lump moves the rest position of the cone",
                           advice});
    }
}

void box_remarks(const LoadedCurve& taken, const Fit& fit, std::size_t curve, const FitInputs& fitted,
                 std::vector<Remark>& remarks) {
    const Loading loading = loading_of(fit.layout, fit.parameters, fitted, curve);
    const double ratio = std::sqrt(1.0 + loading.stiffness);
    if (ratio < 1.22) {
        const double vas_l = 1e3 * loading.stiffness * taken.box_m3;
        remarks.push_back(
            {"small-shift",
             taken.test + ": the box raises the resonance by " + percent(ratio - 1.0) +
                 " only, so that small errors grow large in Vas",
             "take a box of about " + three_digits(vas_l / 1.25) + " litres, which raises it by half"});
    }
    const double doubt = 2.0 * std::sqrt(fit.scatter(fit.layout.box_mass[curve], fit.layout.box_mass[curve]));
    const double change = fit.parameters[fit.layout.box_mass[curve]];
    if (change - doubt > 0.25 || change + doubt < -0.05) {
        remarks.push_back(
            {"box-mass",
             taken.test + ": in the box the cone seems to move " + percent(std::abs(change)) +
                 (change > 0.0 ? " more" : " less") + " mass than in free air",
             "look for a leak, a wrong volume or filling in the box, and take both curves again"});
    }
    const FittedDriver driver = driver_of(fit.layout, fit.parameters);
    const double loss_doubt =
        2.0 * std::sqrt(fit.scatter(fit.layout.box_loss[curve], fit.layout.box_loss[curve]));
    if (loading.loss - loss_doubt > std::max(0.5 / driver.cone.qms, 0.05)) {
        remarks.push_back({"box-loss",
                           taken.test + ": in the box the peak is lower than the air's spring alone makes it",
                           "look for a leak, or filling in the box"});
    }
}

void second_peak_remark(const LoadedCurve& taken, std::vector<Remark>& remarks) {
    const std::vector<Peak> peaks = peaks_of(calm_magnitude(taken.curve), 1.06);
    if (peaks.size() < 2) return;
    for (std::size_t i = 1; i < peaks.size(); ++i) {
        const Peak& peak = peaks[i];
        if (taken.box_m3 > 0.0 && peak.frequency_hz < peaks.front().frequency_hz) {
            remarks.push_back({"box-leak",
                               taken.test + ": a second peak at " + three_digits(peak.frequency_hz) +
                                   " Hz below the main one: the box leaks there like a vent",
                               "seal the driver's rim, the terminals and the joints, and measure again"});
            return;
        }
    }
}

}  // namespace

std::optional<Absent> unusable_loading(const LoadedCurve& taken, const std::optional<Peak>& peak,
                                       double free_hz) {
    if (!peak) {
        return Absent{"no-resonance-peak", taken.test + " shows no resonance peak",
                      "see that cone and mass move freely, and that the tone begins below the peak"};
    }
    const double ratio = peak->frequency_hz / free_hz;
    const std::string frequencies =
        three_digits(peak->frequency_hz) + " Hz against " + three_digits(free_hz) + " Hz in free air";
    if (taken.added_mass_kg > 0.0 && ratio > 0.995) {
        return Absent{"mass-without-shift",
                      taken.test + ": the added mass does not lower the resonance (" + frequencies +
                          "), which would make the moving mass negative: the mass fell off, or the two tests "
                          "are swapped",
                      "press the mass firmly onto the cone and measure again"};
    }
    if (taken.box_m3 > 0.0 && ratio < 1.005) {
        return Absent{
            "box-without-shift",
            taken.test + ": the box does not raise the resonance (" + frequencies +
                "), which would make Vas negative: the box leaks widely, or the two tests are swapped",
            "seal the driver to the box and measure again"};
    }
    return std::nullopt;
}

std::optional<Absent> misfit(const FitInputs& free_only, const Fit& free_fit, const LoadedCurve& taken,
                             double mms_kg) {
    FitInputs both = free_only;
    both.curves.push_back(taken);
    const FitLayout layout = fit_layout(free_fit.layout.model, both);
    Eigen::VectorXd start = Eigen::VectorXd::Zero(layout.count);
    start.head(free_fit.layout.count) = free_fit.parameters;
    start[layout.mass] = std::log(mms_kg);
    const Fit fit = fit_driver(free_fit.layout.model, both, start);
    if (fit.converged && fit.floor <= std::max(3.0 * free_fit.floor, 0.007)) return std::nullopt;
    if (taken.box_m3 > 0.0) {
        return Absent{"box-leak",
                      taken.test +
                          " is no curve of this driver on a tight and empty box: the box leaks, or there is "
                          "filling in it",
                      "seal the driver's rim, the terminals and the joints, and measure again"};
    }
    return Absent{"mass-loose",
                  taken.test + " is no curve of this driver with a mass that moves as one with the cone",
                  "press the mass firmly onto the cone near the dust cap and measure again"};
}

std::vector<Remark> loading_remarks(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit) {
    std::vector<Remark> remarks;
    for (std::size_t c = 0; c < fitted.curves.size(); ++c) {
        const LoadedCurve& taken = fitted.curves[c];
        if (taken.added_mass_kg > 0.0) mass_remarks(taken, mms_kg_of(fit.layout, fit.parameters), remarks);
        if (taken.box_m3 > 0.0) box_remarks(taken, fit, c, fitted, remarks);
    }
    for (const LoadedCurve& taken : inputs.curves) {
        if (!taken.free_air()) second_peak_remark(taken, remarks);
    }
    return remarks;
}

std::optional<Absent> contradiction(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit) {
    struct Told {
        const LoadedCurve* taken = nullptr;
        double log_mms = 0.0;
        double own_variance = 0.0;  // not shared with the others of its kind
    };
    std::vector<Told> told;
    for (std::size_t c = 0; c < fitted.curves.size(); ++c) {
        const LoadedCurve& taken = fitted.curves[c];
        if (taken.free_air()) continue;
        FitInputs alone = fitted;
        alone.curves.clear();
        for (std::size_t k = 0; k < fitted.curves.size(); ++k) {
            if (k == c || fitted.curves[k].free_air()) alone.curves.push_back(fitted.curves[k]);
        }
        const FitLayout layout = fit_layout(fit.layout.model, alone);
        Eigen::VectorXd start = Eigen::VectorXd::Zero(layout.count);
        start.head(layout.mass + 1) = fit.parameters.head(layout.mass + 1);
        const Fit one = fit_driver(fit.layout.model, alone, start);
        if (!one.converged) continue;
        const double volume = taken.box_m3 > 0.0 ? inputs.doubts.box_volume : 0.0;
        told.push_back(
            {&taken, one.parameters[layout.mass], one.scatter(layout.mass, layout.mass) + volume * volume});
    }
    for (std::size_t i = 0; i < told.size(); ++i) {
        for (std::size_t k = i + 1; k < told.size(); ++k) {
            const bool box_i = told[i].taken->box_m3 > 0.0;
            const bool box_k = told[k].taken->box_m3 > 0.0;
            double variance = told[i].own_variance + told[k].own_variance;
            if (box_i != box_k) {
                const DriverDoubts& u = inputs.doubts;
                const double pressure = u.pressure_hpa / inputs.air.pressure_hpa;
                variance += u.mass_scale * u.mass_scale + 4.0 * u.area * u.area + pressure * pressure;
            }
            const double apart = told[i].log_mms - told[k].log_mms;
            if (std::abs(apart) < std::max(3.0 * std::sqrt(variance), 0.03)) continue;
            const double omega = two_pi * std::exp(fit.parameters[FitLayout::fs]);
            std::string text =
                told[i].taken->test + " and " + told[k].taken->test + " contradict each other: ";
            const double mms[2] = {std::exp(told[i].log_mms), std::exp(told[k].log_mms)};
            if (!box_i && !box_k) {
                text += "Mms would be " + three_digits(1e3 * mms[0]) + " g by the one and " +
                        three_digits(1e3 * mms[1]) + " g by the other; a mass sat loose or was weighed wrong";
                return Absent{"masses-contradict", text, "weigh and fix both masses again"};
            }
            const double spring = fitted.air_spring_n_m2;
            const double vas[2] = {1e3 * spring / (omega * omega * mms[0]),
                                   1e3 * spring / (omega * omega * mms[1])};
            text += "Vas would be " + three_digits(vas[0]) + " l by the one and " + three_digits(vas[1]) +
                    " l by the other; ";
            const double box_vas = box_i ? vas[0] : vas[1];
            const double other_vas = box_i ? vas[1] : vas[0];
            if (box_i && box_k)
                text += "a box leaks or its volume is wrong";
            else if (box_vas < other_vas)
                text += "the box leaks or is larger than stated, or the mass sat loose";
            else
                text += "the box is smaller than stated, or mass or area are wrong";
            return Absent{
                "mass-and-box-contradict", text,
                "check the box for leaks, its net volume, the weight of the mass and the area; leave "
                "out the test that cannot be trusted"};
        }
    }
    return std::nullopt;
}

}  // namespace assay::analysis
