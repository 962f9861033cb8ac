#include "analysis/driver/air.h"

#include <gtest/gtest.h>

#include <cmath>

namespace assay::analysis {
namespace {

// Speed of sound by Cramer's polynomial and density by CIPM, as tabled by an independent computation of both;
// the tolerances are half of the tables' last digits.
TEST(Air, SpeedAndDensityOfTheTable) {
    struct Row {
        double t_c, humidity, c, rho, rho_c2, level_db;
    };
    for (const Row& row :
         {Row{0, 0, 331.45, 1.2930, 142051, 112.32}, Row{10, 50, 337.78, 1.2444, 141979, 112.23},
          Row{15, 50, 340.88, 1.2216, 141949, 112.19}, Row{20, 0, 343.36, 1.2046, 142012, 112.16},
          Row{20, 50, 343.99, 1.1993, 141911, 112.15}, Row{20, 100, 344.61, 1.1941, 141808, 112.14},
          Row{25, 0, 346.27, 1.1843, 141999, 112.13}, Row{25, 50, 347.13, 1.1773, 141863, 112.11},
          Row{30, 50, 350.31, 1.1555, 141801, 112.07}}) {
        const Air air{row.t_c, 1013.25, row.humidity};
        EXPECT_NEAR(sound_speed_m_per_s(air), row.c, 0.0051) << row.t_c << " degC";
        EXPECT_NEAR(density_kg_per_m3(air), row.rho, 0.000051) << row.t_c << " degC";
        EXPECT_NEAR(bulk_modulus_pa(air), row.rho_c2, 1.0) << row.t_c << " degC";
        EXPECT_NEAR(level_of_one_acoustic_watt_db(air), row.level_db, 0.0051) << row.t_c << " degC";
    }
}

// Where a job may lie and the polynomial's own range ends: c^2 = gamma R T / M of an ideal mixture, heat
// capacities 7/2 R of dry air and 4 R of vapour (textbook); vapour pressure by Magnus' formula, 6.112
// exp(17.62 t / (243.12 + t)) hPa. It is 0.04 % below Cramer's inside the range as well.
TEST(Air, SpeedBeyondTheRangeOfThePolynomial) {
    const auto ideal = [](const Air& air) {
        const double t = air.temperature_c;
        const double w =
            air.humidity_percent / 100.0 * 6.112 * std::exp(17.62 * t / (243.12 + t)) / air.pressure_hpa;
        const double capacity = 3.5 + 0.5 * w;
        const double molar_mass = 28.9655e-3 - w * (28.9655e-3 - 18.0153e-3);
        return std::sqrt(capacity / (capacity - 1.0) * 8.314462 * (t + 273.15) / molar_mass);
    };
    for (const double pressure_hpa : {500.0, 1013.25, 1100.0}) {
        for (const double t_c : {-20.0, -10.0, 0.0, 30.0, 50.0}) {
            for (const double humidity : {0.0, 50.0, 100.0}) {
                const Air air{t_c, pressure_hpa, humidity};
                const double off = sound_speed_m_per_s(air) / ideal(air) - 1.0;
                const bool mild = t_c <= 30.0 && humidity <= 50.0;
                EXPECT_LT(off, 0.0007) << t_c << " degC, " << pressure_hpa << " hPa, " << humidity << " %";
                EXPECT_GT(off, mild ? -0.0007 : -0.005) << t_c << " degC, " << pressure_hpa << " hPa";
            }
        }
    }
}

// rho c^2 of an ideal gas is gamma p (textbook): Vas goes with the barometer.
TEST(Air, BulkModulusGoesWithPressure) {
    const double sea = bulk_modulus_pa({20.0, 1013.25, 50.0});
    EXPECT_NEAR(bulk_modulus_pa({20.0, 950.0, 50.0}) / sea, 950.0 / 1013.25, 0.0005);
    EXPECT_NEAR(bulk_modulus_pa({20.0, 845.6, 50.0}) / sea, 845.6 / 1013.25, 0.0010);
}

}  // namespace
}  // namespace assay::analysis
