#include "analysis/driver/air.h"

#include <cmath>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double carbon_dioxide = 0.0004;
constexpr double zero_c_in_k = 273.15;

/// Mole fraction of water.
double water_fraction(const Air& air) {
    const double t = air.temperature_c;
    const double kelvin = t + zero_c_in_k;
    const double pascal = air.pressure_hpa * 100.0;
    const double saturated_pa =
        std::exp(1.2378847e-5 * kelvin * kelvin - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin);
    const double enhancement = 1.00062 + 3.14e-8 * pascal + 5.6e-7 * t * t;
    return air.humidity_percent / 100.0 * enhancement * saturated_pa / pascal;
}

}  // namespace

double sound_speed_m_per_s(const Air& air) {
    const double t = air.temperature_c;
    const double p = air.pressure_hpa * 100.0;
    const double w = water_fraction(air);
    const double c = carbon_dioxide;
    return 331.5024 + 0.603055 * t - 0.000528 * t * t + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * w +
           (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p +
           (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * c - 2.835149 * w * w - 2.15e-13 * p * p +
           29.179762 * c * c + 0.000486 * w * p * c;
}

double density_kg_per_m3(const Air& air) {
    constexpr double gas_constant = 8.314472;
    constexpr double dry_molar_mass = 28.96546e-3;
    constexpr double water_molar_mass = 18.01528e-3;
    const double t = air.temperature_c;
    const double kelvin = t + zero_c_in_k;
    const double p = air.pressure_hpa * 100.0;
    const double w = water_fraction(air);
    const double p_over_t = p / kelvin;
    const double compressibility =
        1.0 -
        p_over_t * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * w +
                    (1.9898e-4 - 2.376e-6 * t) * w * w) +
        p_over_t * p_over_t * (1.83e-11 - 0.765e-8 * w * w);
    return p * dry_molar_mass / (compressibility * gas_constant * kelvin) *
           (1.0 - w * (1.0 - water_molar_mass / dry_molar_mass));
}

double bulk_modulus_pa(const Air& air) {
    const double c = sound_speed_m_per_s(air);
    return density_kg_per_m3(air) * c * c;
}

double level_of_one_acoustic_watt_db(const Air& air) {
    constexpr double reference_pa = 20e-6;
    return power_decibels(density_kg_per_m3(air) * sound_speed_m_per_s(air) / two_pi /
                          (reference_pa * reference_pa));
}

}  // namespace assay::analysis
