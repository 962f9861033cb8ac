// Air: what its temperature, pressure and humidity make of sound speed and density.
//
// Sources: sound speed: O. Cramer, JASA 93(5), 1993, 2510, the polynomial with the newer constants of the
// saturation pressure (stated 300 ppm, 0 to 30 degC, 75 to 102 kPa). Density: CIPM-2007 (A. Picard et al.,
// Metrologia 45, 2008, 149), formula and constants from memory, held against tabled values by the tests. Both
// at 0.04 % carbon dioxide.
//
// Beyond that range, from -20 to 50 degC and 500 to 1100 hPa, the sound speed lies within 0.07 % of an ideal
// mixture of dry air and vapour up to 50 % humidity and 30 degC, and up to 0.5 % below it in hot wet thin
// air.
#pragma once

namespace assay::analysis {

struct Air {
    double temperature_c = 20.0;
    double pressure_hpa = 1013.25;
    double humidity_percent = 50.0;
};

double sound_speed_m_per_s(const Air& air);
double density_kg_per_m3(const Air& air);

/// rho c^2, pascal: goes with the pressure nearly alone.
double bulk_modulus_pa(const Air& air);

/// Sound level of one acoustic watt into half space at 1 m, dB re 20 uPa.
double level_of_one_acoustic_watt_db(const Air& air);

}  // namespace assay::analysis
