// The bench as it stands in session.json: keys as in the bench file, doubts as relative standard
// uncertainties.
#include <algorithm>
#include <array>
#include <limits>
#include <type_traits>

#include "capture/simulated/settings_keys.h"
#include "cli/files/bench/bench_limits.h"
#include "cli/files/session/session_describe.h"

namespace assay::capture {

// Found by the archives through their argument: each struct's fields, in the order of the file.

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, RelativeDoubt>
void describe(Archive& archive, Object& doubt) {
    archive.field("source", doubt.source_id);
    archive.field("relative", doubt.relative);
}

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Output>
void describe(Archive& archive, Object& output) {
    archive.field("name", output.name);
    archive.field("channel", output.channel);
    archive.field("volts_at_full_scale", output.volts_at_full_scale);
    archive.field("maximum_volts", output.maximum_volts);
    archive.field("maximum_dbfs", output.maximum_dbfs);
    archive.field("inverted", output.inverted);
}

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Input>
void describe(Archive& archive, Object& input) {
    static const cli::EnumWords<InputRole> roles{{InputRole::voltage, "voltage"},
                                                 {InputRole::reference, "reference"},
                                                 {InputRole::clip_detector, "clip-detector"}};
    archive.field("name", input.name);
    archive.field("channel", input.channel);
    archive.field("volts_at_full_scale", input.volts_at_full_scale);
    archive.field("attenuation", input.attenuation);
    archive.field("scale_doubts", input.scale_doubts);
    archive.field("calibrated_at_hz", input.calibrated_at_hz);
    archive.field("clean_up_to_dbfs", input.clean_up_to_dbfs);
    archive.field("own_thd_percent", input.own_thd_percent);
    archive.field("high_pass_hz", input.high_pass_hz);
    archive.field("inverted", input.inverted);
    archive.choice("role", input.role, roles);
    archive.field("threshold_dbfs", input.threshold_dbfs);
    archive.optional_text("response", input.response_file);
}

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Meter>
void describe(Archive& archive, Object& meter) {
    archive.field("name", meter.name);
    archive.field("accuracy_percent", meter.accuracy_percent);
    archive.field("digits", meter.digits);
    archive.field("resolution_v", meter.resolution_v);
    archive.field("ac_max_hz", meter.ac_max_hz);
    archive.field("true_rms", meter.true_rms);
}

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Load>
void describe(Archive& archive, Object& load) {
    archive.field("name", load.name);
    archive.number_or_inf("resistance_ohm", load.resistance_ohm);
    archive.field("resistance_doubts", load.resistance_doubts);
    archive.field("rated_power_w", load.rated_power_w);
    archive.field("rated_power_no_heatsink_w", load.rated_power_no_heatsink_w);
    archive.field("tempco_ppm_per_k", load.tempco_ppm_per_k);
    archive.field("inductance_uh", load.inductance_uh);
}

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, ImpedanceJig>
void describe(Archive& archive, Object& jig) {
    static const cli::EnumWords<ImpedanceJig::Topology> topologies{
        {ImpedanceJig::Topology::series_high, "series-high"},
        {ImpedanceJig::Topology::sense_low, "sense-low"}};
    archive.choice("topology", jig.topology, topologies);
    archive.field("series_ohm", jig.series_ohm);
    archive.field("series_doubts", jig.series_doubts);
    archive.field("lead_ohm", jig.lead_ohm);
    archive.field("input_resistance_ohm", jig.input_resistance_ohm);
    archive.field("match", jig.match_file);
}

/// The [sound] table.
template <class Archive, class Object>
void describe_sound(Archive& archive, Object& bench) {
    static const cli::EnumWords<Source> sources{{Source::device, "device"}, {Source::simulated, "simulated"}};
    static const cli::EnumWords<Ground> grounds{{Ground::supply_negative, "supply-negative"},
                                                {Ground::load_minus, "load-minus"},
                                                {Ground::isolated, "isolated"}};
    archive.choice("source", bench.source, sources);
    archive.field("playback_device", bench.playback_device);
    archive.field("record_device", bench.record_device);
    archive.field("sample_rate_hz", bench.sample_rate_hz);
    archive.field("shared_clock", bench.shared_clock);
    archive.choice("ground", bench.ground, grounds);
}

}  // namespace assay::capture

namespace assay::cli {
namespace {

using capture::Bench;

/// "simulated.amplifier" -> "amplifier"; "simulated" -> "".
std::string table_below(std::string_view table) {
    const std::size_t dot = table.find('.');
    return dot == std::string_view::npos ? std::string{} : std::string(table.substr(dot + 1));
}

void write_simulated(JsonWriter& archive, capture::SimulatedBench settings) {
    const std::string name = "simulated";
    const Place place{&archive.place(), &name, 0};
    JsonWriter whole(archive.node()[name], place, archive.trouble());
    for (const capture::SettingKey& setting : capture::setting_keys(settings)) {
        const std::string below = table_below(setting.table);
        const std::string key(setting.key);
        const Place inner{&place, &key, 0};
        Json& table = below.empty() ? whole.node() : whole.node()[below];
        std::visit(
            [&](const auto* value) {
                if constexpr (std::is_same_v<decltype(value), const std::array<double, 2>*>) {
                    JsonWriter::write(table[key], std::vector<double>(value->begin(), value->end()), inner,
                                      archive.trouble());
                } else {
                    JsonWriter::write(table[key], *value, inner, archive.trouble());
                }
            },
            setting.value);
    }
}

void read_simulated_record(JsonReader& archive, capture::SimulatedBench& settings) {
    const std::string name = "simulated";
    const Json* node = archive.find(name);
    if (node == nullptr) return;
    const Place place{&archive.place(), &name, 0};
    JsonReader whole(*node, place, archive.trouble());
    for (const capture::SettingKey& setting : capture::setting_keys(settings)) {
        const std::string below = table_below(setting.table);
        const Json* table = below.empty() ? node : whole.find(below);
        if (table == nullptr) return;
        const Place table_place{&place, &below, 0};
        JsonReader reader(*table, below.empty() ? place : table_place, archive.trouble());
        const std::string key(setting.key);
        std::visit(
            [&](auto* value) {
                if constexpr (std::is_same_v<decltype(value), std::array<double, 2>*>) {
                    std::vector<double> pair;
                    reader.field(key, pair);
                    if (pair.size() == 2) {
                        std::copy(pair.begin(), pair.end(), value->begin());
                    } else {
                        archive.trouble().note(Place{&reader.place(), &key, 0}, "should be two numbers");
                    }
                } else {
                    reader.field(key, *value);
                }
            },
            setting.value);
    }
}

/// Reads a name and gives the index of the part that bears it.
template <class Part>
std::size_t reference(JsonReader& archive, const std::string& key, const std::vector<Part>& parts) {
    std::string name;
    archive.field(key, name);
    const auto index = index_of(parts, name);
    if (!index) archive.trouble().note(Place{&archive.place(), &key, 0}, "names no part of the bench");
    return index.value_or(0);
}

template <class Part>
void check_names(JsonReader& archive, const std::string& key, const std::vector<Part>& parts) {
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (index_of(parts, parts[i].name) != i) {
            archive.trouble().note(Place{&archive.place(), &key, 0}, "two parts bear the same name");
        }
    }
}

/// Where outputs reach, by their names.
void read_driven_by(JsonReader& reader, const Bench& bench, std::vector<std::size_t>& driven_by) {
    std::vector<std::string> outputs;
    reader.field("driven_by", outputs);
    const std::string key = "driven_by";
    for (const std::string& output : outputs) {
        const auto index = index_of(bench.outputs, output);
        if (!index) reader.trouble().note(Place{&reader.place(), &key, 0}, "names no output of the bench");
        driven_by.push_back(index.value_or(0));
    }
}

void read_input_wires(JsonReader& archive, Bench& bench, const Json& inputs) {
    const std::string name = "input";
    const Place list{&archive.place(), &name, 0};
    for (std::size_t i = 0; i < bench.inputs.size() && !archive.trouble().first; ++i) {
        const Place place{&list, nullptr, i};
        JsonReader reader(inputs[i], place, archive.trouble());
        if (reader.find_optional("driven_by") != nullptr)
            read_driven_by(reader, bench, bench.inputs[i].driven_by);
    }
}

void read_wires(JsonReader& archive, Bench& bench, const Json& loads) {
    for (std::size_t i = 0; i < bench.loads.size() && !archive.trouble().first; ++i) {
        const std::string name = "load";
        const Place list{&archive.place(), &name, 0};
        const Place place{&list, nullptr, i};
        JsonReader reader(loads[i], place, archive.trouble());
        capture::Load& load = bench.loads[i];
        read_driven_by(reader, bench, load.driven_by);
        load.plus = reference(reader, "plus", bench.inputs);
        if (reader.find_optional("minus") != nullptr) load.minus = reference(reader, "minus", bench.inputs);
        if (reader.find_optional("bare_input") != nullptr) reader.field("bare_input", load.bare_input);
    }
}

/// What no bench file may state is no bench's in a session either: nothing is worked out from it.
class Limits {
  public:
    explicit Limits(JsonReader& archive) : archive_(archive) {}

    void number(const std::string& where, double value, double least, double most) {
        if (value >= least && value <= most) return;
        archive_.trouble().note(Place{&archive_.place(), &where, 0}, "is out of all measure");
    }
    void above_zero(const std::string& where, double value, double most) {
        number(where, value, std::numeric_limits<double>::min(), most);
    }
    void doubts(const std::string& where, const std::vector<capture::RelativeDoubt>& doubts) {
        for (const capture::RelativeDoubt& doubt : doubts) number(where, doubt.relative, 0.0, 1.0);
    }

  private:
    JsonReader& archive_;
};

void check_limits(JsonReader& archive, const Bench& bench) {
    Limits limits(archive);
    limits.number("sound.sample_rate_hz", bench.sample_rate_hz, lowest_rate_hz, highest_rate_hz);
    for (const capture::Output& output : bench.outputs) {
        const std::string where = "output." + output.name;
        limits.number(where + ".channel", output.channel, 1, highest_channel);
        if (output.volts_at_full_scale)
            limits.above_zero(where + ".volts_at_full_scale", *output.volts_at_full_scale, highest_volts);
    }
    for (const capture::Input& input : bench.inputs) {
        const std::string where = "input." + input.name;
        limits.number(where + ".channel", input.channel, 1, highest_channel);
        limits.above_zero(where + ".volts_at_full_scale", input.volts_at_full_scale, highest_volts);
        limits.above_zero(where + ".attenuation", input.attenuation, highest_attenuation);
        limits.doubts(where + ".scale_doubts", input.scale_doubts);
    }
    for (const capture::Load& load : bench.loads) {
        const std::string where = "load." + load.name;
        limits.above_zero(where + ".resistance_ohm", load.resistance_ohm,
                          std::numeric_limits<double>::infinity());
        limits.doubts(where + ".resistance_doubts", load.resistance_doubts);
    }
    if (!bench.jig) return;
    limits.above_zero("impedance_jig.series_ohm", bench.jig->series_ohm, highest_ohm);
    limits.doubts("impedance_jig.series_doubts", bench.jig->series_doubts);
}

}  // namespace

void write_bench(JsonWriter& archive, const Bench& bench) {
    archive.object("sound", [&](JsonWriter& sound) { capture::describe_sound(sound, bench); });
    archive.field("output", bench.outputs);
    archive.field("input", bench.inputs);
    for (std::size_t i = 0; i < bench.inputs.size(); ++i) {
        for (const std::size_t output : bench.inputs[i].driven_by)
            archive.node()["input"][i]["driven_by"].push_back(bench.outputs.at(output).name);
    }
    archive.field("meter", bench.meters);
    archive.field("load", bench.loads);
    for (std::size_t i = 0; i < bench.loads.size(); ++i) {
        const capture::Load& load = bench.loads[i];
        Json& node = archive.node()["load"][i];
        node["driven_by"] = Json::array();
        for (const std::size_t output : load.driven_by)
            node["driven_by"].push_back(bench.outputs.at(output).name);
        node["plus"] = bench.inputs.at(load.plus).name;
        if (load.minus) node["minus"] = bench.inputs.at(*load.minus).name;
        if (load.bare_input) node["bare_input"] = true;
    }
    archive.field("impedance_jig", bench.jig);
    if (bench.jig) {
        Json& node = archive.node()["impedance_jig"];
        node["generator_side"] = bench.inputs.at(bench.jig->generator_side).name;
        node["driver_side"] = bench.inputs.at(bench.jig->driver_side).name;
    }
    if (bench.source == capture::Source::simulated) write_simulated(archive, bench.simulated);
}

void read_bench_record(JsonReader& archive, Bench& bench) {
    const std::string name = "sound";
    if (const Json* node = archive.find(name)) {
        const Place place{&archive.place(), &name, 0};
        JsonReader sound(*node, place, archive.trouble());
        capture::describe_sound(sound, bench);
    }
    archive.field("output", bench.outputs);
    archive.field("input", bench.inputs);
    archive.field("meter", bench.meters);
    archive.field("load", bench.loads);
    check_names(archive, "output", bench.outputs);
    check_names(archive, "input", bench.inputs);
    check_names(archive, "load", bench.loads);
    check_limits(archive, bench);
    if (archive.trouble().first) return;
    read_input_wires(archive, bench, *archive.find("input"));
    read_wires(archive, bench, *archive.find("load"));
    archive.field("impedance_jig", bench.jig);
    if (bench.jig && !archive.trouble().first) {
        const std::string jig = "impedance_jig";
        const Place place{&archive.place(), &jig, 0};
        JsonReader reader(*archive.find(jig), place, archive.trouble());
        bench.jig->generator_side = reference(reader, "generator_side", bench.inputs);
        bench.jig->driver_side = reference(reader, "driver_side", bench.inputs);
    }
    if (bench.source == capture::Source::simulated) read_simulated_record(archive, bench.simulated);
}

}  // namespace assay::cli
