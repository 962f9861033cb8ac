// What physics says of every quantity when the bench is another one and the recording the same: one row a
// quantity. A number n says that the value is multiplied by k to the n, or, in decibels, that n times 20 lg k
// is added, when every volt is k times as large (`volts`), when the load is of k times the ohms (`load`),
// when the jig's series resistor is (`series`).
//
// Sources: P = V^2/R; Z = R V/(Vg - V) of the same two voltages; with Z k times as large at unchanged motion
// Bl^2 is k times as large, and mass, compliance, Q and area stay (R. H. Small, "Direct-Radiator Loudspeaker
// System Analysis", JAES 20 (1972)): the efficiency holds Bl^2/Re, the level at 2.83 V the power 8/Re
// besides.
#pragma once

#include <string_view>
#include <vector>

namespace assay::drawn {

struct Law {
    std::string_view measure;
    std::string_view quantity;  // as in the measure's table
    double volts = 0.0;
    double load = 0.0;
    double series = 0.0;
    bool seen = true;   // false: the benches of the test do not show it
    double bent = 0.0;  // what the law leaves open, as part of the value
};

inline const std::vector<Law>& laws() {
    static const std::vector<Law> all{
        {"clipping-power", "power_at_{limit}_percent_w", 2.0, -1.0},
        {"clipping-power", "voltage_at_{limit}_percent_v", 1.0},
        {"clipping-power", "clip_onset_positive_v", 1.0},
        {"clipping-power", "clip_onset_negative_v", 1.0},
        {"clipping-power", "clip_onset_w", 2.0, -1.0},
        {"clipping-power", "gain_db", 1.0},
        // The drive for a rated power: volts sqrt(P R) over the gain, which falls by a few 1e-4 as the level
        // rises.
        {"clipping-power", "input_sensitivity_v", -1.0, 0.5, 0.0, true, 1e-3},
        {"clipping-power", "total_power_at_{limit}_percent_w", 2.0, -1.0},
        {"clipping-power", "channel_balance_db"},
        {"distortion", "voltage_v", 1.0},
        {"distortion", "power_w", 2.0, -1.0},
        {"distortion", "thd_percent"},
        {"distortion", "thd_total_percent"},
        {"distortion", "thd_plus_noise_percent"},
        {"distortion", "sinad_db"},
        {"distortion", "harmonic_2_percent"},
        {"distortion", "harmonic_3_percent"},
        {"distortion", "harmonic_4_percent"},
        {"distortion", "harmonic_5_percent"},
        {"distortion", "harmonic_6_percent"},
        {"distortion", "harmonic_7_percent"},
        {"distortion", "harmonic_8_percent"},
        {"distortion", "harmonic_9_percent"},
        {"distortion", "harmonic_10_percent"},
        {"distortion", "channel_balance_db"},
        {"meter-power", "power_w", 0.0, -1.0},  // its volts are the meter's
        {"response", "gain_1khz_db", 1.0},
        {"response", "lower_limit_3db_hz"},
        {"response", "upper_limit_3db_hz"},
        {"response", "lower_limit_1db_hz"},
        {"response", "upper_limit_1db_hz"},
        {"response", "deviation_20hz_20khz_db"},
        {"response", "channel_balance_1khz_db"},
        {"response", "channel_balance_20hz_20khz_db"},
        {"noise", "noise_v", 1.0},
        {"noise", "noise_a_weighted_v", 1.0},
        {"noise", "noise_itu_468_rms_v", 1.0},
        {"noise", "noise_itu_468_quasi_peak_v", 1.0},
        // One watt is sqrt(R) volts.
        {"noise", "signal_to_noise_1w_db", -1.0, 0.5},
        {"noise", "signal_to_noise_1w_a_weighted_db", -1.0, 0.5},
        {"noise", "signal_to_noise_reference_db", -1.0, 0.5},
        {"noise", "signal_to_noise_reference_a_weighted_db", -1.0, 0.5},
        {"noise", "hum_v", 1.0},
        {"noise", "mains_hz"},
        {"noise", "whine_v", 1.0, 0.0, 0.0, false},
        {"noise", "whine_lowest_hz", 0.0, 0.0, 0.0, false},
        {"noise", "whine_highest_hz", 0.0, 0.0, 0.0, false},
        {"output-impedance", "output_impedance_1khz_ohm", 0.0, 1.0},
        {"output-impedance", "damping_factor_1khz"},
        {"separation", "separation_1khz_db"},
        {"intermodulation", "modulation_distortion_2_percent"},
        {"intermodulation", "modulation_distortion_3_percent"},
        {"intermodulation", "modulation_distortion_percent"},
        {"intermodulation", "difference_frequency_distortion_2_percent"},
        {"intermodulation", "difference_frequency_distortion_3_percent"},
        {"intermodulation", "difference_frequency_distortion_percent"},
        {"power-bandwidth", "lower_limit_hz", 0.0, 0.0, 0.0, false},
        {"power-bandwidth", "upper_limit_hz", 0.0, 0.0, 0.0, false},
        {"burst-power", "burst_power_w", 2.0, -1.0},
        {"burst-power", "headroom_db"},
        {"impedance", "minimum_ohm", 0.0, 0.0, 1.0},
        {"impedance", "minimum_hz"},
        {"impedance", "maximum_ohm", 0.0, 0.0, 1.0},
        {"impedance", "resonance_hz"},
        {"impedance", "impedance_1khz_ohm", 0.0, 0.0, 1.0},
        {"impedance", "volts_at_resonance_v", 1.0},
        {"match", "ratio_1khz_db"},
        {"match", "ratio_10khz_db"},
        {"match", "phase_10khz_deg"},
        {"driver-parameters", "fs_hz"},
        {"driver-parameters", "re_ohm", 0.0, 0.0, 1.0},
        {"driver-parameters", "res_ohm", 0.0, 0.0, 1.0},
        {"driver-parameters", "qms"},
        {"driver-parameters", "qes"},
        {"driver-parameters", "qts"},
        {"driver-parameters", "le_1khz_mh", 0.0, 0.0, 1.0},
        {"driver-parameters", "mms_g"},
        {"driver-parameters", "cms_mm_per_n"},
        {"driver-parameters", "rms_kg_per_s"},
        {"driver-parameters", "bl_tm", 0.0, 0.0, 0.5},
        {"driver-parameters", "vas_l"},
        {"driver-parameters", "sd_cm2"},
        {"driver-parameters", "efficiency_percent"},
        {"driver-parameters", "sensitivity_1w_db"},
        {"driver-parameters", "sensitivity_2v83_db", 0.0, 0.0, -0.5},
        {"driver-parameters", "creep_lambda"},
        {"endurance", "run_minutes"},
        {"endurance", "output_fall_db"},
        {"endurance", "mean_power_w", 2.0, -1.0},
        {"endurance", "load_energy_wh", 2.0, -1.0},
        {"endurance", "crest_factor_db", 0.0, 0.0, 0.0, false},
        {"endurance", "supply_energy_wh", 0.0, 0.0, 0.0, false},
        {"endurance", "supply_charge_ah", 0.0, 0.0, 0.0, false},
        {"endurance", "efficiency_percent", 2.0, -1.0, 0.0, false},
        {"endurance", "battery_run_minutes", 0.0, 0.0, 0.0, false},
    };
    return all;
}

}  // namespace assay::drawn
