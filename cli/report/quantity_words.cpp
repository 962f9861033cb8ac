#include "cli/report/quantity_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string_view>
#include <utility>

#include "cli/files/plain_text.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

struct Wording {
    std::string_view name;
    std::string_view words;
};

constexpr auto known_quantities = std::to_array<Wording>({
    {"clip_onset_positive_v", "clipping begins, positive half (peak)"},
    {"clip_onset_negative_v", "clipping begins, negative half (peak)"},
    {"clip_onset_w", "power where clipping begins"},
    {"gain_db", "gain"},
    {"input_sensitivity_v", "input volts for the rated output (RMS)"},
    {"channel_balance_db", "channel balance"},
    {"channel_balance_1khz_db", "channel balance at 1 kHz"},
    {"channel_balance_20hz_20khz_db", "channel balance, worst 20 Hz to 20 kHz"},
    {"voltage_v", "voltage (RMS)"},
    {"power_w", "power"},
    {"thd_percent", "THD (re fundamental)"},
    {"thd_total_percent", "THD (re total)"},
    {"thd_plus_noise_percent", "THD+N (re total)"},
    {"sinad_db", "SINAD"},
    {"noise_v", "noise, 20 Hz to 20 kHz"},
    {"noise_a_weighted_v", "noise, A-weighted"},
    {"signal_to_noise_1w_db", "signal to noise re 1 W"},
    {"signal_to_noise_1w_a_weighted_db", "signal to noise re 1 W, A-weighted"},
    {"hum_v", "hum"},
    {"mains_hz", "mains frequency"},
    {"gain_1khz_db", "gain at 1 kHz"},
    {"lower_limit_3db_hz", "lower limit, -3 dB"},
    {"upper_limit_3db_hz", "upper limit, -3 dB"},
    {"lower_limit_1db_hz", "lower limit, -1 dB"},
    {"upper_limit_1db_hz", "upper limit, -1 dB"},
    {"deviation_20hz_20khz_db", "largest departure, 20 Hz to 20 kHz"},
    {"noise_itu_468_rms_v", "noise, ITU-R 468 network, RMS"},
    {"noise_itu_468_quasi_peak_v", "noise, ITU-R 468 quasi-peak"},
    {"whine_v", "whine that moves (RMS)"},
    {"whine_lowest_hz", "its lowest frequency"},
    {"whine_highest_hz", "its highest frequency"},
    {"signal_to_noise_reference_db", "signal to noise re reference"},
    {"signal_to_noise_reference_a_weighted_db", "signal to noise re reference, A-weighted"},
    {"lower_limit_hz", "lower limit of power, -3 dB"},
    {"upper_limit_hz", "upper limit of power, -3 dB"},
    {"modulation_distortion_2_percent", "modulation distortion, 2nd order"},
    {"modulation_distortion_3_percent", "modulation distortion, 3rd order"},
    {"difference_frequency_distortion_2_percent", "difference-frequency dist., 2nd order"},
    {"difference_frequency_distortion_3_percent", "difference-frequency dist., 3rd order"},
    {"difference_frequency_distortion_percent", "difference-frequency distortion"},
    {"burst_power_w", "power in bursts"},
    {"headroom_db", "headroom over the continuous power"},
    {"output_impedance_1khz_ohm", "output impedance at 1 kHz"},
    {"damping_factor_1khz", "damping factor at 1 kHz"},
    {"separation_1khz_db", "channel separation at 1 kHz"},
    {"minimum_ohm", "lowest impedance above resonance"},
    {"minimum_hz", "frequency of that lowest impedance"},
    {"maximum_ohm", "impedance at the peak"},
    {"resonance_hz", "frequency of the peak"},
    {"ratio_1khz_db", "difference of the inputs at 1 kHz"},
    {"ratio_10khz_db", "difference of the inputs at 10 kHz"},
    {"phase_10khz_deg", "their difference in phase at 10 kHz"},
    {"impedance_1khz_ohm", "impedance at 1 kHz"},
    {"volts_at_resonance_v", "voltage at the driver at resonance"},
    {"fs_hz", "resonance, fs"},
    {"re_ohm", "coil resistance, Re"},
    {"res_ohm", "height of the peak, Res"},
    {"qms", "mechanical Q, Qms"},
    {"qes", "electrical Q, Qes"},
    {"qts", "total Q, Qts"},
    {"le_1khz_mh", "coil inductance at 1 kHz, Le"},
    {"mms_g", "moving mass, Mms"},
    {"cms_mm_per_n", "compliance at fs, Cms"},
    {"rms_kg_per_s", "mechanical loss, Rms"},
    {"bl_tm", "force factor, Bl"},
    {"vas_l", "equivalent volume, Vas"},
    {"sd_cm2", "effective area, Sd"},
    {"efficiency_percent", "efficiency"},
    {"sensitivity_1w_db", "sensitivity, 1 W into Re, 1 m"},
    {"sensitivity_2v83_db", "sensitivity, 2.83 V, 1 m"},
    {"creep_lambda", "creep of the suspension"},
    {"run_minutes", "time until the output ended"},
    {"output_fall_db", "fall of the output until then"},
    {"mean_power_w", "power on average"},
    {"load_energy_wh", "energy into the load"},
    {"crest_factor_db", "crest factor at the output"},
    {"supply_energy_wh", "energy from the supply"},
    {"supply_charge_ah", "charge from the supply"},
    {"battery_run_minutes", "run time on this battery"},
});

constexpr auto known_measures = std::to_array<Wording>({
    {"clipping-power", "output power and clipping"},
    {"distortion", "distortion at one level"},
    {"meter-power", "output power by meter"},
    {"response", "frequency response"},
    {"power-bandwidth", "power bandwidth"},
    {"noise", "noise and hum"},
    {"separation", "channel separation"},
    {"intermodulation", "intermodulation"},
    {"output-impedance", "output impedance"},
    {"burst-power", "burst power"},
    {"endurance", "endurance"},
    {"impedance", "impedance"},
    {"driver-parameters", "driver parameters"},
});

constexpr auto known_conditions = std::to_array<Wording>({
    {"supply_idle_v", "supply, idle"},
    {"supply_loaded_v", "supply, loaded"},
    {"supply_current_a", "supply current"},
    {"dc_offset_mv", "DC offset at the output"},
    {"case_temperature_c", "case temperature"},
    {"frequency_hz", "test frequency"},
    {"channels_driven", "channels driven together"},
    {"limit_on", "distortion limit is on"},
    {"limit_told_by", "limit told by"},
    {"recorded_rate_hz", "recorded at"},
    {"recorded_format", "recorded as"},
    {"tone_rate_hz", "tone made at"},
    {"start_s", "tone found in the recording at"},
    {"clock_ppm", "recorder's clock re the player's"},
    {"distortion_bandwidth_hz", "harmonics counted up to"},
    {"load_ohm", "load"},
    {"added_mass_g", "mass added to the cone"},
    {"test_box_l", "closed box behind the cone"},
    {"temperature_c", "air temperature"},
    {"pressure_hpa", "air pressure"},
    {"humidity_percent", "humidity"},
    {"effective_diameter_mm", "diameter, middle to middle of the surround"},
    {"coil_model", "coil modelled as"},
    {"suspension_model", "suspension modelled with"},
    {"topology", "jig"},
    {"series_ohm", "its series resistor"},
    {"lead_ohm", "its lead"},
    {"input_resistance_ohm", "input resistance on the driver's side"},
    {"generator_rms_v", "volts into the jig (RMS)"},
    {"crest_factor", "crest factor of the tone"},
    {"lines", "sines in the tone"},
    {"lines_used", "sines used"},
    {"lines_disturbed", "left out for hum or whistles"},
    {"lines_weak", "left out as too weak"},
    {"match", "difference of the inputs"},
    {"resonance_half_level_hz", "peak at half the level at"},
    {"maximum_half_level_ohm", "its height at half the level"},
    {"dc_resistance_ohm", "coil resistance by meter"},
    {"models_tried", "models tried"},
    {"models_within_reach", "models that fit as well"},
    {"fit_from_hz", "fitted from"},
    {"fit_to_hz", "fitted up to"},
    {"fit_residual_percent", "left by the fit (RMS)"},
    {"fit_model_error_percent", "of it laid to the model"},
    {"mains_hz", "mains frequency"},
    {"rate_hz", "sample rate"},
    {"sample_rate_hz", "sample rate"},
    {"drive_dbfs", "drive level"},
    {"power_asked_w", "power asked for"},
    {"from_dbfs", "lowest drive level"},
    {"to_dbfs", "highest drive level"},
    {"step_db", "level step"},
    {"loudest_channel", "the loudest channel"},
    {"channel_balance_worst_hz", "balance is worst at"},
    {"bridging", "bridging"},
    {"minutes_asked", "minutes asked for"},
    {"crest_factor_asked_db", "crest factor of what was played"},
    {"loop_seams", "times that the looped file began again"},
    {"loop_gap_ms", "gap there"},
});

/// Conditions that stand one for each load or input, behind its name: "load_ohm.load-a".
constexpr std::array named_conditions{
    Wording{"load_ohm.", ""},
    Wording{"peak_dbfs.", "peak of "},
    Wording{"polarity.", "polarity of "},
    Wording{"channel_polarity.", "polarity of "},
    Wording{"card_response.", "the card's own response at "},
    Wording{"ended_by.", "end of the run at "},
    Wording{"clip_detector_dbfs.", "lowest drive that lights "},
};

// Longest first where one ends like another.
constexpr auto unit_endings = std::to_array<Wording>({
    {"_kg_per_s", "kg/s"}, {"_mm_per_n", "mm/N"}, {"_cm2", "cm²"},   {"_hpa", "hPa"},   {"_tm", "T·m"},
    {"_nf", "nF"},         {"_l", "L"},           {"_percent", "%"}, {"_dbfs", "dBFS"}, {"_dbv", "dBV"},
    {"_ohm", "Ω"},         {"_ppm", "ppm"},       {"_degc", "°C"},   {"_deg", "°"},     {"_min", "min"},
    {"_khz", "kHz"},       {"_bits", "bit"},      {"_hz", "Hz"},     {"_db", "dB"},     {"_mv", "mV"},
    {"_uv", "µV"},         {"_ms", "ms"},         {"_mm", "mm"},     {"_mh", "mH"},     {"_uh", "µH"},
    {"_v", "V"},           {"_w", "W"},           {"_a", "A"},       {"_s", "s"},       {"_c", "°C"},
    {"_g", "g"},           {"_wh", "Wh"},         {"_ah", "Ah"},
});

template <std::size_t size>
std::optional<std::string> look_up(const std::string& name, const std::array<Wording, size>& pairs) {
    for (const Wording& pair : pairs) {
        if (pair.name == name) return std::string(pair.words);
    }
    return std::nullopt;
}

/// Name without its unit and with spaces, and the unit.
std::pair<std::string, std::string> split_unit(std::string name) {
    std::string unit;
    for (const Wording& ending : unit_endings) {
        if (name.size() > ending.name.size() && name.ends_with(ending.name)) {
            name.resize(name.size() - ending.name.size());
            unit = ending.words;
            break;
        }
    }
    std::replace(name.begin(), name.end(), '_', ' ');
    return {visible_text(name, 80), unit};
}

/// Some conditions are measured, not stated: more digits than told here mean nothing.
double measured_condition(const std::string& name, double value) {
    if (name == "start_s") return std::round(value * 1e3) / 1e3 + 0.0;
    if (name == "level_change_db") return std::round(value * 1e3) / 1e3 + 0.0;
    if (name.starts_with("peak_dbfs.")) return std::round(value * 10.0) / 10.0 + 0.0;
    if (name == "clock_ppm") return std::round(value * 1e2) / 1e2 + 0.0;
    const bool measured = name.ends_with("_half_level_hz") || name.ends_with("_half_level_ohm") ||
                          name == "generator_rms_v" || name == "crest_factor" || name.starts_with("fit_");
    return measured ? to_digits(value, name.ends_with("_half_level_hz") ? 4 : 3) : value;
}

}  // namespace

std::string distortion_name(const std::string& limit_on) {
    return limit_on == "thd+n" ? "THD+N" : "THD";
}

std::string quantity_words(const std::string& name, const std::string& limit_on) {
    if (const auto words = look_up(name, known_quantities)) return *words;
    const std::string at = limit_words(name, limit_on);
    if (!at.empty()) {
        if (name.starts_with("total_power")) return "total power at " + at + ", all channels";
        if (name.starts_with("power")) return "power at " + at;
        return "voltage at " + at + " (RMS)";
    }
    constexpr std::string_view hand_method = "three_point_";
    if (name.starts_with(hand_method)) {
        return quantity_words(name.substr(hand_method.size()), limit_on) + ", by three points";
    }
    if (const std::string order = limit_in(name, "harmonic_", "_percent"); !order.empty())
        return "harmonic " + order + ", re fundamental";
    return split_unit(name).first;
}

std::string limit_words(const std::string& name, const std::string& limit_on) {
    for (const auto& [before, after] : {std::pair{"power_at_", "_percent_w"},
                                        {"voltage_at_", "_percent_v"},
                                        {"total_power_at_", "_percent_w"}}) {
        if (const std::string limit = limit_in(name, before, after); !limit.empty())
            return limit_as_number(limit) + " % " + distortion_name(limit_on);
    }
    return {};
}

std::string unit_of(const std::string& name) {
    return split_unit(name).second;
}

std::string measure_words(const std::string& measure, UnitKind kind) {
    if (kind == UnitKind::line && measure == "clipping-power") return "largest output volts and clipping";
    return look_up(measure, known_measures).value_or(visible_text(measure, 60));
}

bool for_programs_only(const std::string& condition) {
    return condition.starts_with("model_") || condition.starts_with("three_point_") ||
           condition.starts_with("resonance_ratio.");
}

ConditionWords condition_words(const std::string& name, const Condition& value) {
    const auto* value_number = std::get_if<double>(&value);
    for (const Wording& start : named_conditions) {
        if (!name.starts_with(start.name)) continue;
        const std::string part = visible_text(name.substr(start.name.size()), 60);
        const std::string words = std::string(start.words) + part;
        if (value_number == nullptr) return {words, visible_text(std::get<std::string>(value), 200)};
        const std::string unit = split_unit(std::string(start.name.substr(0, start.name.size() - 1))).second;
        return {words, stated_text(measured_condition(name, *value_number), unit)};
    }
    const auto [plain, unit] = split_unit(name);
    ConditionWords shown{look_up(name, known_conditions).value_or(plain), {}};
    if (value_number != nullptr) {
        shown.value = stated_text(measured_condition(name, *value_number), unit);
    } else {
        shown.value = visible_text(std::get<std::string>(value), 200);
        if (name == "limit_on") shown.value = distortion_name(shown.value);
    }
    return shown;
}

}  // namespace assay::cli
