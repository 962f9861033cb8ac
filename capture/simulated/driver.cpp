#include "capture/simulated/driver.h"

#include <cmath>
#include <numbers>

namespace assay::capture {

namespace {

using Complex = std::complex<double>;

constexpr double heat_ratio = 1.4005;      // rho c^2 / p of moist air at room temperature
constexpr double air_density_kg_m3 = 1.2;  // of the little air in a leak
constexpr double air_viscosity_pa_s = 1.81e-5;
constexpr double wall_m = 0.018;

Complex coil_impedance(const SimulatedDriver& driver, double omega) {
    const Complex jw(0.0, omega);
    Complex z = jw * driver.le_mh * 1e-3;
    if (driver.l2_mh > 0.0 && driver.r2_ohm > 0.0) {
        const Complex inductor = jw * driver.l2_mh * 1e-3;
        z += inductor * driver.r2_ohm / (inductor + driver.r2_ohm);
    }
    if (driver.coil_k > 0.0) z += driver.coil_k * std::pow(jw, driver.coil_n);
    return z;
}

/// Newton for one metre a second of the cone, from the air shut in behind it.
Complex box_impedance(const SimulatedDriver& driver, double box_m3, double omega) {
    const double area_m2 = driver.sd_cm2 * 1e-4;
    const double compliance = box_m3 / (heat_ratio * driver.pressure_hpa * 100.0);
    Complex admittance(0.0, omega * compliance);
    if (driver.leak_diameter_mm > 0.0) {
        const double radius_m = 0.5e-3 * driver.leak_diameter_mm;
        const double resistance =
            8.0 * air_viscosity_pa_s * wall_m / (std::numbers::pi * std::pow(radius_m, 4));
        const double mass =
            air_density_kg_m3 * (wall_m + 1.7 * radius_m) / (std::numbers::pi * radius_m * radius_m);
        admittance += 1.0 / Complex(resistance, omega * mass);
    }
    return area_m2 * area_m2 / admittance;
}

Complex mechanical_impedance(const SimulatedDriver& driver, const DriverMount& mount, double omega) {
    const double mass_kg = driver.mms_g * 1e-3;
    const double compliance =
        driver.cms_mm_per_n * 1e-3 * (1.0 + driver.compliance_rise_per_mm * mount.displacement_rms_m * 1e3);
    const double resonance = 1.0 / std::sqrt(mass_kg * driver.cms_mm_per_n * 1e-3);
    const Complex jw(0.0, omega);
    const Complex creeping = compliance * (1.0 - driver.creep_lambda * std::log10(jw / resonance));
    Complex z = jw * (mass_kg + mount.added_mass_kg) + driver.rms_kg_per_s + 1.0 / (jw * creeping);
    if (mount.box_m3 > 0.0) z += box_impedance(driver, mount.box_m3, omega);
    return z;
}

}  // namespace

Complex driver_impedance(const SimulatedDriver& driver, const DriverMount& mount, double omega) {
    if (omega <= 0.0) return driver.re_ohm;
    return driver.re_ohm + coil_impedance(driver, omega) +
           driver.bl_tm * driver.bl_tm / mechanical_impedance(driver, mount, omega);
}

Complex driver_displacement(const SimulatedDriver& driver, const DriverMount& mount, double omega) {
    if (omega <= 0.0) return 0.0;
    const Complex velocity =
        driver.bl_tm / (mechanical_impedance(driver, mount, omega) * driver_impedance(driver, mount, omega));
    return velocity / Complex(0.0, omega);
}

}  // namespace assay::capture
