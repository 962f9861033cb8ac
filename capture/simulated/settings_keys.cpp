#include "capture/simulated/settings_keys.h"

namespace assay::capture {

std::vector<SettingKey> setting_keys(SimulatedBench& bench) {
    constexpr std::string_view whole = "simulated";
    constexpr std::string_view amp = "simulated.amplifier";
    constexpr std::string_view sound = "simulated.card";
    SimulatedAmplifier& a = bench.amplifier;
    SimulatedCard& c = bench.card;
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
