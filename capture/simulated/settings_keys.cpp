#include "capture/simulated/settings_keys.h"

namespace assay::capture {

std::vector<SettingKey> setting_keys(SimulatedBench& bench) {
    constexpr std::string_view whole = "simulated";
    constexpr std::string_view amp = "simulated.amplifier";
    constexpr std::string_view sound = "simulated.card";
    SimulatedAmplifier& a = bench.amplifier;
    SimulatedCard& c = bench.card;
    constexpr std::string_view unit = "simulated.driver";
    constexpr std::string_view around = "simulated.jig";
    SimulatedDriver& d = bench.driver;
    SimulatedJig& j = bench.jig;
    return {
        {whole, "ambient_c", "degC", -20.0, 60.0, &bench.ambient_c},
        {whole, "load_tempco_ppm_per_k", "ppm/K", -5000.0, 5000.0, &bench.load_tempco_ppm_per_k},
        {whole, "load_k_per_w", "K/W", 0.0, 20.0, &bench.load_k_per_w},
        {whole, "load_time_constant_s", "s", 0.1, 10000.0, &bench.load_time_constant_s},
        {whole, "seed", "", 0.0, 0.0, &bench.seed},

        {amp, "gain_db", "dB", -60.0, 80.0, &a.gain_db},
        {amp, "supply_v", "V", 1.0, 200.0, &a.supply_v},
        {amp, "supply_resistance_ohm", "ohm", 0.0, 2.0, &a.supply_resistance_ohm},
        {amp, "idle_current_a", "A", 0.0, 20.0, &a.idle_current_a},
        {amp, "converter_efficiency", "", 0.3, 1.0, &a.converter_efficiency},
        {amp, "rail_v_per_supply_v", "", 0.1, 20.0, &a.rail_v_per_supply_v},
        {amp, "rail_resistance_ohm", "ohm", 0.0, 20.0, &a.rail_resistance_ohm},
        {amp, "rail_time_constant_s", "s", 1e-5, 10.0, &a.rail_time_constant_s},
        {amp, "rail_scale", "", 0.1, 1.5, &a.rail_scale},
        {amp, "saturation_v", "V", 0.0, 20.0, &a.saturation_v},
        {amp, "saturation_resistance_ohm", "ohm", 0.0, 5.0, &a.saturation_resistance_ohm},
        {amp, "output_resistance_ohm", "ohm", 0.0, 5.0, &a.output_resistance_ohm},
        {amp, "softness", "", 0.0, 1.0, &a.softness},
        {amp, "crossover_v", "V", 0.0, 5.0, &a.crossover_v},
        {amp, "second_order", "", 0.0, 0.05, &a.second_order},
        {amp, "third_order", "", 0.0, 0.05, &a.third_order},
        {amp, "low_cut_hz", "Hz", 0.01, 200.0, &a.low_cut_hz},
        {amp, "high_cut_hz", "Hz", 1000.0, 300000.0, &a.high_cut_hz},
        {amp, "noise_v", "V", 0.0, 1.0, &a.noise_v},
        {amp, "hum_v", "V", 0.0, 5.0, &a.hum_v},
        {amp, "hum_hz", "Hz", 10.0, 1000.0, &a.hum_hz},
        {amp, "channel_gain_db", "dB", -100.0, 20.0, &a.channel_gain_db},
        {amp, "crosstalk_db", "dB", -200.0, 0.0, &a.crosstalk_db},
        {amp, "second_channel_inverted", "", 0.0, 0.0, &a.second_channel_inverted},

        {unit, "re_ohm", "ohm", 0.1, 1000.0, &d.re_ohm},
        {unit, "le_mh", "mH", 0.0, 100.0, &d.le_mh},
        {unit, "l2_mh", "mH", 0.0, 100.0, &d.l2_mh},
        {unit, "r2_ohm", "ohm", 0.0, 10000.0, &d.r2_ohm},
        {unit, "coil_k", "", 0.0, 100.0, &d.coil_k},
        {unit, "coil_n", "", 0.0, 1.0, &d.coil_n},
        {unit, "mms_g", "g", 0.01, 5000.0, &d.mms_g},
        {unit, "cms_mm_per_n", "mm/N", 0.001, 100.0, &d.cms_mm_per_n},
        {unit, "rms_kg_per_s", "kg/s", 0.0, 1000.0, &d.rms_kg_per_s},
        {unit, "bl_tm", "T m", 0.0, 100.0, &d.bl_tm},
        {unit, "sd_cm2", "cm2", 0.1, 10000.0, &d.sd_cm2},
        {unit, "creep_lambda", "", 0.0, 0.3, &d.creep_lambda},
        {unit, "compliance_rise_per_mm", "1/mm", 0.0, 2.0, &d.compliance_rise_per_mm},
        {unit, "leak_diameter_mm", "mm", 0.0, 100.0, &d.leak_diameter_mm},
        {unit, "pressure_hpa", "hPa", 300.0, 1100.0, &d.pressure_hpa},
        {unit, "added_mass_scale", "", 0.0, 10.0, &d.added_mass_scale},
        {unit, "test_box_scale", "", 0.1, 10.0, &d.test_box_scale},

        {around, "generator_gain_db", "dB", -60.0, 60.0, &j.generator_gain_db},
        {around, "generator_resistance_ohm", "ohm", 0.0, 10000.0, &j.generator_resistance_ohm},
        {around, "series_ohm", "ohm", 0.0, 100000.0, &j.series_ohm},
        {around, "lead_ohm", "ohm", -1.0, 100.0, &j.lead_ohm},
        {around, "input_resistance_ohm", "ohm", 0.0, 1e9, &j.input_resistance_ohm},
        {around, "mismatch_db", "dB", -20.0, 20.0, &j.mismatch_db},
        {around, "mismatch_delay_us", "us", -100.0, 100.0, &j.mismatch_delay_us},
        {around, "hum_v", "V", 0.0, 10.0, &j.hum_v},
        {around, "hum_hz", "Hz", 10.0, 1000.0, &j.hum_hz},
        {around, "noise_v", "V", 0.0, 1.0, &j.noise_v},
        {around, "inputs_swapped", "", 0.0, 0.0, &j.inputs_swapped},
        {around, "driver_open", "", 0.0, 0.0, &j.driver_open},
        {around, "driver_shorted", "", 0.0, 0.0, &j.driver_shorted},

        {sound, "full_scale_in_v", "V", 0.0, 1000.0, &c.full_scale_in_v},
        {sound, "full_scale_out_v", "V", 0.0, 1000.0, &c.full_scale_out_v},
        {sound, "coupling_hz", "Hz", 0.01, 50.0, &c.coupling_hz},
        {sound, "ceiling_dbfs", "dBFS", -60.0, 20.0, &c.ceiling_dbfs},
        {sound, "bits", "", 8.0, 24.0, &c.bits},
        {sound, "noise_dbfs", "dBFS", -200.0, -20.0, &c.noise_dbfs},
        {sound, "clock_ppm", "ppm", -1000.0, 1000.0, &c.clock_ppm},
        {sound, "delay_s", "s", 0.0, 60.0, &c.delay_s},
    };
}

}  // namespace assay::capture
