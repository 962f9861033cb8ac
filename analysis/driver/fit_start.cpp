#include "analysis/driver/fit_start.h"

#include <algorithm>
#include <cmath>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;
using Eigen::VectorXd;

constexpr double least_prominence = 1.15;

/// Frequency at which the real part, from the peak on in steps of `step`, has come down to `level`.
std::optional<double> falls_to(const std::vector<MagnitudePoint>& curve, std::size_t from, int step,
                               double level) {
    for (std::size_t i = from; i < curve.size(); i += static_cast<std::size_t>(step)) {
        if (curve[i].magnitude_ohm < level) return curve[i].frequency_hz;
        if (step < 0 && i == 0) break;
    }
    return std::nullopt;
}

std::vector<MagnitudePoint> real_part_of(const ImpedanceCurve& curve) {
    std::vector<MagnitudePoint> real;
    for (const ImpedancePoint& point : curve.points)
        real.push_back({point.frequency_hz, std::max(point.z_ohm.real(), 1e-3)});
    return real;
}

/// K(jw)^n through what resistance and cone leave of the curve well above the peak: regression of the
/// logarithm of the magnitude on that of the frequency (Leach 2002).
Coil power_law_of(const ImpedanceCurve& curve, const FittedDriver& driver) {
    double count = 0.0;
    double sx = 0.0;
    double sy = 0.0;
    double sxx = 0.0;
    double sxy = 0.0;
    for (const ImpedancePoint& point : curve.points) {
        if (point.frequency_hz < 4.0 * driver.cone.fs_hz) continue;
        const Complex rest = point.z_ohm - driver.re_ohm -
                             driver.re_ohm / driver.cone.qes /
                                 mechanical_impedance(driver.cone, Loading{}, point.frequency_hz);
        if (rest.imag() <= 0.01 * driver.re_ohm) continue;
        const double x = std::log(two_pi * point.frequency_hz);
        const double y = std::log(std::abs(rest));
        count += 1.0;
        sx += x;
        sy += y;
        sxx += x * x;
        sxy += x * y;
    }
    Coil coil;
    coil.kind = CoilKind::power_law;
    coil.n = 0.7;
    coil.k = 0.5 * driver.re_ohm / std::pow(two_pi * 1000.0, coil.n);
    const double spread = count * sxx - sx * sx;
    if (count >= 3.0 && spread > 1e-6) {
        coil.n = std::clamp((count * sxy - sx * sy) / spread, 0.4, 0.98);
        coil.k = std::exp((sy - coil.n * sx) / count);
    }
    return coil;
}

std::vector<Coil> coils_from(const Coil& power_law, CoilKind kind, double low_hz, double high_hz) {
    const auto inductance_at = [&](double f) { return coil_impedance(power_law, f).imag() / (two_pi * f); };
    const double high_l = inductance_at(high_hz);
    const double middle_hz = std::sqrt(low_hz * high_hz);
    const double middle_l = inductance_at(middle_hz);
    Coil coil;
    coil.kind = kind;
    switch (kind) {
        case CoilKind::inductance:
            coil.l_h = middle_l;
            return {coil};
        case CoilKind::power_law:
            return {power_law};
        case CoilKind::bounded_power_law:
            coil.k = power_law.k * 1.1;
            coil.n = power_law.n;
            coil.l_h = 4.0 * inductance_at(low_hz);
            return {coil};
        case CoilKind::semi_inductance:
            coil.l_h = 0.5 * high_l;
            coil.l2_h = 2.0 * middle_l;
            coil.k = 1.2 * std::abs(coil_impedance(power_law, middle_hz)) / std::sqrt(two_pi * middle_hz);
            return {coil};
        case CoilKind::loss_circuit: {
            std::vector<Coil> both;
            for (const double corner_hz : {middle_hz, 0.3 * middle_hz}) {
                coil.l_h = 0.8 * high_l;
                coil.l2_h = std::max(inductance_at(corner_hz * 0.3) - coil.l_h, 0.2 * coil.l_h);
                coil.r2_ohm = two_pi * corner_hz * coil.l2_h;
                both.push_back(coil);
            }
            return both;
        }
        case CoilKind::double_loss_circuit:
            coil.l_h = 0.7 * high_l;
            coil.l2_h = std::max(middle_l - coil.l_h, 0.2 * coil.l_h);
            coil.r2_ohm = two_pi * std::sqrt(middle_hz * high_hz) * coil.l2_h;
            coil.l3_h = std::max(inductance_at(low_hz) - middle_l, 0.2 * middle_l);
            coil.r3_ohm = two_pi * std::sqrt(middle_hz * low_hz) * coil.l3_h;
            return {coil};
    }
    return {};
}

}  // namespace

std::vector<MagnitudePoint> magnitude_of(const ImpedanceCurve& curve) {
    std::vector<MagnitudePoint> magnitude;
    magnitude.reserve(curve.points.size());
    for (const ImpedancePoint& point : curve.points)
        magnitude.push_back({point.frequency_hz, std::abs(point.z_ohm)});
    return magnitude;
}

std::optional<Peak> resonance_of(const ImpedanceCurve& curve) {
    const std::vector<Peak> peaks = peaks_of(real_part_of(curve), least_prominence);
    if (peaks.empty()) return std::nullopt;
    return peaks.front();
}

std::optional<StartReading> read_start(const FitInputs& inputs) {
    StartReading reading;
    const ImpedanceCurve* free = nullptr;
    std::optional<Peak> peak;
    for (const LoadedCurve& taken : inputs.curves) {
        reading.peaks.push_back(resonance_of(taken.curve));
        if (taken.free_air() && !peak && reading.peaks.back()) {
            free = &taken.curve;
            peak = reading.peaks.back();
        }
    }
    if (!peak) return std::nullopt;
    const std::vector<MagnitudePoint> real = real_part_of(*free);
    FittedDriver& driver = reading.driver;
    double least = peak->magnitude_ohm;
    for (const MagnitudePoint& point : real) least = std::min(least, point.magnitude_ohm);
    // The least real part is Re and a few per cent of the coil's losses. A meter that is not near it would
    // lead the fit astray, or have it bend a coil until it holds the rest.
    const bool near = inputs.meter && inputs.meter->ohm > 0.85 * least && inputs.meter->ohm < 1.05 * least;
    driver.re_ohm = near ? inputs.meter->ohm : 0.97 * least;
    driver.cone.fs_hz = peak->frequency_hz;
    const double res = std::max(peak->magnitude_ohm - driver.re_ohm, 0.05 * driver.re_ohm);
    const double half = peak->magnitude_ohm - 0.5 * res;
    // Re of the peak falls to half of its height where Qms |q - 1/q| = 1.
    const auto low = falls_to(real, peak->index, -1, half);
    const auto high = falls_to(real, peak->index, +1, half);
    double width = 0.0;
    if (low && high)
        width = (*high - *low) / peak->frequency_hz;
    else if (low)
        width = peak->frequency_hz / *low - *low / peak->frequency_hz;
    else if (high)
        width = *high / peak->frequency_hz - peak->frequency_hz / *high;
    driver.cone.qms = std::clamp(width > 0.0 ? 1.0 / width : 3.0, 0.3, 40.0);
    driver.cone.qes = driver.cone.qms * driver.re_ohm / res;
    driver.coil = power_law_of(*free, driver);

    // Added mass and box: by the shift of the peak. Where it goes the wrong way, twice the added mass, or the
    // mass at which the box would double the stiffness.
    double log_sum = 0.0;
    double count = 0.0;
    const double omega = two_pi * driver.cone.fs_hz;
    double fallback_kg = 0.0;
    for (std::size_t c = 0; c < inputs.curves.size(); ++c) {
        const LoadedCurve& taken = inputs.curves[c];
        if (taken.free_air()) continue;
        const double ratio = reading.peaks[c] ? reading.peaks[c]->frequency_hz / driver.cone.fs_hz : 1.0;
        double mms_kg = 0.0;
        if (taken.box_m3 > 0.0) {
            const double air = inputs.air_spring_n_m2 / taken.box_m3 / (omega * omega);
            fallback_kg = air;
            if (ratio > 1.005) mms_kg = air / (ratio * ratio - 1.0);
        } else {
            fallback_kg = 2.0 * taken.added_mass_kg;
            if (ratio < 0.995) mms_kg = taken.added_mass_kg / (1.0 / (ratio * ratio) - 1.0);
        }
        if (mms_kg > 0.0) {
            log_sum += std::log(mms_kg);
            count += 1.0;
        }
    }
    reading.mms_kg = count > 0.0 ? std::exp(log_sum / count) : fallback_kg;
    return reading;
}

std::vector<VectorXd> starts_for(const FitModel& model, const FitInputs& inputs,
                                 const StartReading& reading) {
    const FitLayout layout = fit_layout(model, inputs);
    double top_hz = 0.0;
    for (const LoadedCurve& taken : inputs.curves) {
        if (!taken.curve.points.empty()) top_hz = std::max(top_hz, taken.curve.points.back().frequency_hz);
    }
    const double low_hz = 2.0 * reading.driver.cone.fs_hz;
    std::vector<VectorXd> starts;
    for (const Coil& coil :
         coils_from(reading.driver.coil, model.coil, low_hz, std::max(top_hz, 2.0 * low_hz))) {
        VectorXd x = VectorXd::Zero(layout.count);
        x[FitLayout::re] = std::log(reading.driver.re_ohm);
        x[FitLayout::fs] = std::log(reading.driver.cone.fs_hz);
        x[FitLayout::qms] = std::log(reading.driver.cone.qms);
        x[FitLayout::qes] = std::log(reading.driver.cone.qes);
        const auto parameters = coil_parameters(coil);
        for (std::size_t i = 0; i < coil_parameter_count(model.coil); ++i)
            x[FitLayout::coil + static_cast<Eigen::Index>(i)] = std::log(std::max(parameters[i], 1e-9));
        if (layout.creep >= 0) x[layout.creep] = 0.02;
        if (layout.mass >= 0) x[layout.mass] = std::log(reading.mms_kg);
        starts.push_back(std::move(x));
    }
    return starts;
}

}  // namespace assay::analysis
