#include "cli/files/bench/bench_parts.h"

#include <array>
#include <numbers>

#include "cli/files/bench/bench_limits.h"
#include "cli/files/toml/toml_document.h"

namespace assay::cli {

namespace {

using capture::RelativeDoubt;

/// uncertainty_percent is a standard one; tolerance_percent are limits, taken as a rectangular distribution
/// (JCGM 100:2008, 4.3.7).
std::vector<RelativeDoubt> read_doubt(TomlTable& table, const std::string& source_id) {
    const auto standard = table.number("uncertainty_percent", from_to(0, 100, "%"));
    const auto limits = table.number("tolerance_percent", from_to(0, 100, "%"));
    if (standard) return {{source_id, *standard / 100.0}};
    if (limits) return {{source_id, *limits / 100.0 / std::numbers::sqrt3}};
    return {};
}

template <class T>
void take(T& member, const std::optional<T>& value) {
    if (value) member = *value;
}

}  // namespace

bool read_sound(const TomlNode& node, capture::Bench& bench, Complaints& complaints) {
    TomlTable table(node, "[sound]", complaints);
    constexpr std::array sources{capture::Source::device, capture::Source::simulated};
    constexpr std::array grounds{capture::Ground::supply_negative, capture::Ground::load_minus,
                                 capture::Ground::isolated};
    if (const auto index = table.choice("source", {"device", "simulated"})) bench.source = sources[*index];
    take(bench.playback_device, table.text("playback_device"));
    take(bench.record_device, table.text("record_device"));
    take(bench.sample_rate_hz,
         table.number("sample_rate_hz",
                      {.minimum = lowest_rate_hz, .maximum = highest_rate_hz, .whole = true, .unit = "Hz"}));
    table.require("sample_rate_hz", "give the rate that the sound card runs at, e.g. sample_rate_hz = 96000");
    take(bench.shared_clock, table.flag("shared_clock"));
    const auto ground = table.choice("ground", {"supply-negative", "load-minus", "isolated"});
    if (ground) bench.ground = grounds[*ground];
    table.finish();
    return ground.has_value();
}

RawOutput read_output(const TomlNode& node, std::size_t index, Complaints& complaints) {
    RawOutput raw{TomlTable(node, table_label("output", node, "name", index), complaints)};
    TomlTable& table = raw.table;
    take(raw.output.name, table.name("name"));
    table.require("name", "name it, e.g. name = \"drive\"");
    const auto channel = table.number("channel", whole_from_to(1, highest_channel));
    if (channel) raw.output.channel = static_cast<int>(*channel);
    table.require("channel", "give the number of the sound card's channel, counted from 1");
    raw.output.volts_at_full_scale = table.number("volts_at_full_scale", positive("V", highest_volts));
    raw.output.maximum_volts = table.number("maximum_volts", positive("V", highest_volts));
    raw.output.maximum_dbfs = table.number("maximum_dbfs", from_to(lowest_dbfs, 0, "dBFS"));
    take(raw.output.inverted, table.flag("inverted"));
    table.date("calibrated_on");
    table.number("calibrated_at_hz", positive("Hz", highest_rate_hz / 2));
    table.number("calibrated_at_volts", positive("V", highest_volts));
    if (table.has("maximum_volts") && !table.has("volts_at_full_scale")) {
        table.complain("maximum_volts", "maximum_volts means nothing without volts_at_full_scale",
                       "give volts_at_full_scale too, or maximum_dbfs instead");
    }
    table.finish();
    return raw;
}

RawInput read_input(const TomlNode& node, std::size_t index, Complaints& complaints) {
    RawInput raw{TomlTable(node, table_label("input", node, "name", index), complaints)};
    TomlTable& table = raw.table;
    capture::Input& input = raw.input;
    take(input.name, table.name("name"));
    table.require("name", "name it, e.g. name = \"probe-a\"");
    const auto channel = table.number("channel", whole_from_to(1, highest_channel));
    if (channel) input.channel = static_cast<int>(*channel);
    table.require("channel", "give the number of the sound card's channel, counted from 1");
    take(input.volts_at_full_scale, table.number("volts_at_full_scale", positive("V", highest_volts)));
    table.require("volts_at_full_scale", "find it with `assay calibrate input`");
    take(input.attenuation, table.number("attenuation", positive("", highest_attenuation)));
    input.scale_doubts = read_doubt(table, "input:" + input.name + ":scale");
    raw.meter = table.name("meter");
    table.exclusive({"uncertainty_percent", "tolerance_percent", "meter"});
    raw.calibrated_at_volts = table.number("calibrated_at_volts", positive("V", highest_volts));
    input.calibrated_at_hz = table.number("calibrated_at_hz", positive("Hz", highest_rate_hz / 2));
    table.date("calibrated_on");
    input.clean_up_to_dbfs = table.number("clean_up_to_dbfs", from_to(lowest_dbfs, 0, "dBFS"));
    input.own_thd_percent = table.number("own_thd_percent", from_to(0, 100, "%"));
    input.high_pass_hz = table.number("high_pass_hz", positive("Hz", 1'000));
    take(input.inverted, table.flag("inverted"));
    constexpr std::array roles{capture::InputRole::voltage, capture::InputRole::reference,
                               capture::InputRole::clip_detector};
    if (const auto role = table.choice("role", {"voltage", "reference", "clip-detector"}))
        input.role = roles[*role];
    take(input.response_file, table.name("response"));
    raw.driven_by = table.names("driven_by");
    input.threshold_dbfs = table.number("threshold_dbfs", from_to(lowest_dbfs, 0, "dBFS"));
    if (table.has("threshold_dbfs") && input.role != capture::InputRole::clip_detector) {
        table.complain("threshold_dbfs", "threshold_dbfs is only for a clip detector",
                       "take it out, or set role = \"clip-detector\"");
    }
    table.finish();
    return raw;
}

RawMeter read_meter(const TomlNode& node, std::size_t index, Complaints& complaints) {
    RawMeter raw{TomlTable(node, table_label("meter", node, "name", index), complaints)};
    TomlTable& table = raw.table;
    take(raw.meter.name, table.name("name"));
    table.require("name", "name it, e.g. name = \"bench-meter\"");
    take(raw.meter.accuracy_percent, table.number("accuracy_percent", from_to(0, 100, "%")));
    table.require("accuracy_percent", "take it from the meter's leaflet, AC volts");
    take(raw.meter.digits, table.number("digits", from_to(0, 100'000, "digits")));
    take(raw.meter.resolution_v, table.number("resolution_v", positive("V", 1'000)));
    if (raw.meter.digits > 0)
        table.require("resolution_v", "digits count in steps of the last place: say how large one is");
    raw.meter.ac_max_hz = table.number("ac_max_hz", positive("Hz", 1e9));
    take(raw.meter.true_rms, table.flag("true_rms"));
    table.finish();
    return raw;
}

RawLoad read_load(const TomlNode& node, std::size_t index, Complaints& complaints) {
    RawLoad raw{TomlTable(node, table_label("load", node, "name", index), complaints)};
    TomlTable& table = raw.table;
    capture::Load& load = raw.load;
    take(load.name, table.name("name"));
    table.require("name", "name it, e.g. name = \"load-a\"");
    Range resistance = positive("ohm", highest_ohm);
    resistance.infinity_allowed = true;
    take(load.resistance_ohm, table.number("resistance_ohm", resistance));
    table.require("resistance_ohm", "measure it at the points that the probes touch; inf for no load");
    load.resistance_doubts = read_doubt(table, "load:" + load.name + ":resistance");
    table.exclusive({"uncertainty_percent", "tolerance_percent"});
    load.rated_power_w = table.number("rated_power_w", positive("W", 1e6));
    load.rated_power_no_heatsink_w = table.number("rated_power_no_heatsink_w", positive("W", 1e6));
    load.tempco_ppm_per_k = table.number("tempco_ppm_per_k", from_to(-100'000, 100'000, "ppm per K"));
    load.inductance_uh = table.number("inductance_uh", from_to(0, 1e6, "uH"));
    table.date("calibrated_on");
    raw.driven_by = table.names("driven_by");
    take(raw.plus, table.name("plus"));
    table.require("plus", "name the input at one end of the load");
    raw.minus = table.name("minus");
    table.finish();
    return raw;
}

RawJig read_jig(const TomlNode& node, Complaints& complaints) {
    RawJig raw{TomlTable(node, "[impedance_jig]", complaints)};
    TomlTable& table = raw.table;
    constexpr std::array topologies{capture::ImpedanceJig::Topology::series_high,
                                    capture::ImpedanceJig::Topology::sense_low};
    if (const auto index = table.choice("topology", {"series-high", "sense-low"}))
        raw.jig.topology = topologies[*index];
    take(raw.jig.series_ohm, table.number("series_ohm", positive("ohm", highest_ohm)));
    table.require("series_ohm", "measure the series resistor");
    raw.jig.series_doubts = read_doubt(table, "jig:series");
    table.exclusive({"uncertainty_percent", "tolerance_percent"});
    take(raw.generator_side, table.name("generator_side"));
    table.require("generator_side", "name the input at the generator's end of the series connection");
    take(raw.driver_side, table.name("driver_side"));
    table.require("driver_side", "name the input between resistor and driver");
    take(raw.jig.lead_ohm, table.number("lead_ohm", from_to(0, 1'000, "ohm")));
    raw.jig.input_resistance_ohm = table.number("input_resistance_ohm", positive("ohm", 1e12));
    take(raw.jig.match_file, table.name("match"));
    table.date("matched_on");
    table.date("calibrated_on");
    table.finish();
    return raw;
}

}  // namespace assay::cli
