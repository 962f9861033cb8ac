// Impedance curves written down from the mechanics (Small, JAES 20(5), 1972: Zmot = Bl^2 / (Rms + jw Mms +
// 1/(jw Cms))), on their own formulas: nothing of analysis/driver is used to make them.
#pragma once

#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <random>

#include "analysis/driver/parameters.h"

namespace assay::test {

using Complex = std::complex<double>;

struct Mechanics {
    double re_ohm = 5.61;
    double mms_kg = 56.3e-3;
    double cms_m_per_n = 0.429e-3;
    double rms_kg_per_s = 1.6030;
    double bl_tm = 10.42;
    double sd_m2 = 346.4e-4;
    std::function<Complex(Complex s)> coil = [](Complex) { return Complex{}; };
    double creep = 0.0;  // lambda, a decade, reference at the plain resonance

    double plain_hz() const { return 1.0 / (2.0 * std::numbers::pi * std::sqrt(mms_kg * cms_m_per_n)); }

    Complex z(double f, double added_kg = 0.0, double box_m3 = 0.0,
              double rho_c2 = 1.204 * 343.0 * 343.0) const {
        const Complex s(0.0, 2.0 * std::numbers::pi * f);
        const Complex c = cms_m_per_n * (1.0 - creep * std::log10(Complex(0.0, f / plain_hz())));
        Complex force = s * (mms_kg + added_kg) + rms_kg_per_s + 1.0 / (s * c);
        if (box_m3 > 0.0) force += rho_c2 * sd_m2 * sd_m2 / box_m3 / s;
        return re_ohm + coil(s) + bl_tm * bl_tm / force;
    }
};

inline std::function<Complex(Complex)> power_coil(double k, double n) {
    return [k, n](Complex s) { return k * std::pow(s, n); };
}

/// Points evenly in log frequency, denser about `center`; noise as a share of |z| + `noise_ohm`-like 6 ohm.
inline analysis::ImpedanceCurve curve_of(const std::function<Complex(double)>& z, double center_hz,
                                         double noise, unsigned seed) {
    std::vector<double> f;
    for (int i = 0; i < 220; ++i) f.push_back(10.0 * std::pow(2000.0, i / 219.0));
    for (int i = 0; i < 80; ++i) f.push_back(center_hz * 0.6 * std::pow(2.8, (i + 0.37) / 79.0));
    std::sort(f.begin(), f.end());
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    analysis::ImpedanceCurve curve;
    for (const double at : f) {
        const Complex value = z(at);
        const double scatter = noise * (std::abs(value) + 6.0);
        const double re = scatter * normal(random);
        const double im = scatter * normal(random);
        curve.points.push_back({at, value + Complex(re, im), scatter * scatter});
    }
    return curve;
}

inline analysis::LoadedCurve free_air(const Mechanics& m, double noise = 0.0, unsigned seed = 1) {
    return {"free", curve_of([&](double f) { return m.z(f); }, m.plain_hz(), noise, seed)};
}

inline analysis::LoadedCurve with_mass(const Mechanics& m, double kg, double noise = 0.0, unsigned seed = 2) {
    const double center = m.plain_hz() / std::sqrt(1.0 + kg / m.mms_kg);
    analysis::LoadedCurve taken{"mass", curve_of([&](double f) { return m.z(f, kg); }, center, noise, seed)};
    taken.added_mass_kg = kg;
    return taken;
}

inline analysis::LoadedCurve in_box(const Mechanics& m, double m3, double rho_c2, double noise = 0.0,
                                    unsigned seed = 3) {
    const double vas = rho_c2 * m.sd_m2 * m.sd_m2 * m.cms_m_per_n;
    const double center = m.plain_hz() * std::sqrt(1.0 + vas / m3);
    analysis::LoadedCurve taken{
        "box", curve_of([&](double f) { return m.z(f, 0.0, m3, rho_c2); }, center, noise, seed)};
    taken.box_m3 = m3;
    return taken;
}

}  // namespace assay::test
