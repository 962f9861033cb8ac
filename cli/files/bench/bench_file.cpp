#include "cli/files/bench/bench_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "analysis/units.h"
#include "cli/files/bench/bench_parts.h"
#include "cli/files/bench/simulated_table.h"
#include "cli/files/toml/nearest.h"
#include "cli/files/toml/toml_document.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

namespace {

using capture::Bench;
using capture::InputRole;

struct RawBench {
    std::vector<RawOutput> outputs{};
    std::vector<RawInput> inputs{};
    std::vector<RawMeter> meters{};
    std::vector<RawLoad> loads{};
    std::optional<RawJig> jig{};
    bool ground_stated = false;
    int ground_line = 1;
};

// A scale found with a meter carries the leaflet's two parts: of the reading, which every scale found with
// the same meter shares, and of the last digits, which each reading has anew. Without a stated reading that
// of a sine at this level is taken: about where a careful person calibrates.
constexpr double usual_calibration_dbfs = -12.0;

template <class Parts>
std::vector<std::string> names_of(const Parts& parts) {
    std::vector<std::string> names;
    names.reserve(parts.size());
    for (const auto& part : parts) names.push_back(part.name);
    return names;
}

std::string role_name(InputRole role) {
    switch (role) {
        case InputRole::voltage:
            return "voltage";
        case InputRole::reference:
            return "reference";
        case InputRole::clip_detector:
            return "clip-detector";
    }
    return "";
}

/// Index of the part that is meant; a complaint and none if there is no such part.
template <class Parts>
std::optional<std::size_t> resolve(TomlTable& table, const std::string& key, const std::string& name,
                                   const std::string& kind, const Parts& parts) {
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (parts[i].name == name) return i;
    }
    table.complain(key, fmt::format("{} names no {}: {}", key, kind, in_quotes(name)),
                   suggestion(name, names_of(parts)));
    return std::nullopt;
}

std::optional<std::size_t> resolve_voltage(TomlTable& table, const std::string& key, const std::string& name,
                                           const Bench& bench) {
    const auto index = resolve(table, key, name, "input", bench.inputs);
    if (index && bench.inputs[*index].role != InputRole::voltage) {
        table.complain(key,
                       fmt::format("{} is input {}, whose role is {}", key, in_quotes(name),
                                   role_name(bench.inputs[*index].role)),
                       "name an input of role \"voltage\"");
        return std::nullopt;
    }
    return index;
}

template <class RawParts, class Get>
void refuse_twins(RawParts& parts, const std::string& kind, const Get& name_of) {
    std::map<std::string, int> seen;
    for (auto& part : parts) {
        const auto [first, fresh] = seen.try_emplace(name_of(part), part.table.line("name"));
        if (!fresh) {
            part.table.complain("name",
                                fmt::format("another {} has this name (line {})", kind, first->second),
                                "give each its own name");
        }
    }
}

template <class RawParts, class Get>
void refuse_shared_channels(RawParts& parts, const std::string& kind, const Get& part_of) {
    std::map<int, std::string> seen;
    for (auto& raw : parts) {
        const auto& part = part_of(raw);
        const auto [first, fresh] = seen.try_emplace(part.channel, part.name);
        if (!fresh) {
            raw.table.complain("channel",
                               fmt::format("channel {} is already that of {} {}", part.channel, kind,
                                           in_quotes(first->second)),
                               fmt::format("give each {} its own channel", kind));
        }
    }
}

void add_meter_doubt(RawInput& raw, const Bench& bench) {
    const auto index = resolve(raw.table, "meter", *raw.meter, "meter", bench.meters);
    if (!index) return;
    const capture::Meter& meter = bench.meters[*index];
    capture::Input& input = raw.input;
    const double full_scale_sine_v = input.volts_at_full_scale * input.attenuation / std::numbers::sqrt2;
    const double usual_reading_v = full_scale_sine_v * analysis::ratio_from_decibels(usual_calibration_dbfs);
    const double reading_v = raw.calibrated_at_volts.value_or(usual_reading_v);
    input.scale_doubts.push_back(
        {"meter:" + meter.name, meter.accuracy_percent / 100.0 / std::numbers::sqrt3});
    const double digits_v = meter.digits * meter.resolution_v;
    if (digits_v > reading_v) {
        raw.table.complain(
            "meter",
            fmt::format(
                "meter {} cannot tell this scale: its last digits mean {:.3g} V, its reading was {:.3g} V",
                in_quotes(meter.name), digits_v, reading_v),
            raw.calibrated_at_volts ? "calibrate at a higher voltage, or with a finer meter"
                                    : "state calibrated_at_volts, the reading that the scale was found from");
        return;
    }
    if (digits_v > 0.0) {
        input.scale_doubts.push_back(
            {"input:" + input.name + ":meter-digits", digits_v / reading_v / std::numbers::sqrt3});
    }
}

void join_load(RawLoad& raw, Bench& bench) {
    capture::Load& load = raw.load;
    if (const auto plus = resolve_voltage(raw.table, "plus", raw.plus, bench)) load.plus = *plus;
    if (raw.minus) {
        load.minus = resolve_voltage(raw.table, "minus", *raw.minus, bench);
        if (*raw.minus == raw.plus) {
            raw.table.complain("minus", "plus and minus are the same input",
                               "name the input at the other end");
        }
    }
    if (raw.driven_by) {
        for (const std::string& name : *raw.driven_by) {
            const auto output = resolve(raw.table, "driven_by", name, "output", bench.outputs);
            if (output) load.driven_by.push_back(*output);
        }
    } else if (bench.outputs.size() == 1) {
        load.driven_by = {0};
    } else if (bench.outputs.size() > 1) {
        raw.table.complain("driven_by", "driven_by is missing, and the bench has several outputs",
                           fmt::format("say which reach this load, e.g. driven_by = [{}]",
                                       in_quotes(bench.outputs.front().name)));
    }
    bench.loads.push_back(load);
}

void settle_ground(const RawBench& raw, Bench& bench) {
    const bool any_minus = std::any_of(bench.loads.begin(), bench.loads.end(),
                                       [](const capture::Load& load) { return load.bridged(); });
    if (!raw.ground_stated) {
        bench.ground = any_minus ? capture::Ground::supply_negative : capture::Ground::load_minus;
    }
}

void join_jig(RawJig& raw, Bench& bench) {
    const auto generator = resolve_voltage(raw.table, "generator_side", raw.generator_side, bench);
    const auto driver = resolve_voltage(raw.table, "driver_side", raw.driver_side, bench);
    if (!generator || !driver) return;
    if (*generator == *driver) {
        raw.table.complain("driver_side", "generator_side and driver_side are the same input",
                           "name the input between resistor and driver");
    }
    raw.jig.generator_side = *generator;
    raw.jig.driver_side = *driver;
    bench.jig = raw.jig;
}

/// References, and what only the whole shows.
void join(RawBench& raw, Bench& bench) {
    refuse_twins(raw.outputs, "output", [](const RawOutput& part) { return part.output.name; });
    refuse_twins(raw.inputs, "input", [](const RawInput& part) { return part.input.name; });
    refuse_twins(raw.meters, "meter", [](const RawMeter& part) { return part.meter.name; });
    refuse_twins(raw.loads, "load", [](const RawLoad& part) { return part.load.name; });
    refuse_shared_channels(raw.outputs, "output", [](const RawOutput& part) { return part.output; });
    refuse_shared_channels(raw.inputs, "input", [](const RawInput& part) { return part.input; });

    for (const RawOutput& part : raw.outputs) bench.outputs.push_back(part.output);
    for (const RawMeter& part : raw.meters) bench.meters.push_back(part.meter);
    for (RawInput& part : raw.inputs) {
        if (part.meter) add_meter_doubt(part, bench);
        for (const std::string& name : part.driven_by.value_or(std::vector<std::string>{})) {
            const auto output = resolve(part.table, "driven_by", name, "output", bench.outputs);
            if (output) part.input.driven_by.push_back(*output);
        }
        bench.inputs.push_back(part.input);
    }
    for (RawLoad& part : raw.loads) {
        join_load(part, bench);
        if (part.minus && raw.ground_stated && bench.ground == capture::Ground::load_minus) {
            part.table.complain(
                "minus",
                "with ground = \"load-minus\" this end is tied to the recorder's ground, and would "
                "short the amplifier that drives it",
                "wire the recorder's ground to the supply's negative and set ground = "
                "\"supply-negative\", or take minus out");
        }
    }
    settle_ground(raw, bench);
    if (raw.jig) join_jig(*raw.jig, bench);
}

}  // namespace

capture::Result<Bench> parse_bench(std::string_view text, const std::string& name) {
    const auto root = parse_toml(text, name);
    if (!root) return tl::unexpected(root.error());
    Complaints complaints(name);
    TomlDocument document(*root, complaints);
    Bench bench;
    RawBench raw;

    if (const TomlNode* sound = document.one("sound")) {
        raw.ground_stated = read_sound(*sound, bench, complaints);
    }
    document.require("sound", "[sound] is missing", "begin with [sound] and its sample_rate_hz");
    const auto read_all = [&](const std::string& table, const auto& read, auto& parts) {
        const auto nodes = document.list(table);
        for (std::size_t i = 0; i < nodes.size(); ++i) parts.push_back(read(*nodes[i], i, complaints));
    };
    read_all("output", read_output, raw.outputs);
    read_all("input", read_input, raw.inputs);
    read_all("meter", read_meter, raw.meters);
    read_all("load", read_load, raw.loads);
    if (const TomlNode* jig = document.one("impedance_jig")) raw.jig = read_jig(*jig, complaints);
    if (const TomlNode* simulated = document.one("simulated")) {
        read_simulated(*simulated, bench.simulated, complaints);
    }
    document.require("input", "the bench has no [[input]]", "add one for each channel that records");
    document.finish();
    // References are looked at only when each table is sound by itself, or one slip would be told as another.
    if (complaints.empty()) join(raw, bench);
    if (!complaints.empty()) return tl::unexpected(complaints.first());
    return bench;
}

capture::Result<Bench> read_bench(const std::filesystem::path& path) {
    const auto text = read_toml_text(path);
    if (!text) return tl::unexpected(text.error());
    return parse_bench(*text, path.string());
}

std::vector<std::string> bench_remarks(const Bench& bench) {
    std::vector<std::string> remarks;
    for (const capture::Input& input : bench.inputs) {
        if (input.role == InputRole::clip_detector) continue;
        if (input.scale_doubts.empty()) {
            remarks.push_back(
                fmt::format("input {}: no uncertainty is stated, its scale is taken as exact; give "
                            "uncertainty_percent, tolerance_percent or meter",
                            in_quotes(input.name)));
        }
        for (const capture::Meter& meter : bench.meters) {
            const bool used =
                std::any_of(input.scale_doubts.begin(), input.scale_doubts.end(),
                            [&](const auto& doubt) { return doubt.source_id == "meter:" + meter.name; });
            if (!used || !meter.ac_max_hz || input.calibrated_at_hz.value_or(0.0) <= *meter.ac_max_hz)
                continue;
            remarks.push_back(fmt::format(
                "input {}: calibrated at {} Hz, but meter {} is good for {} Hz at most; "
                "calibrate again at 50 to 100 Hz",
                in_quotes(input.name), *input.calibrated_at_hz, in_quotes(meter.name), *meter.ac_max_hz));
        }
    }
    for (const capture::Load& load : bench.loads) {
        if (load.minus && bench.inputs[load.plus].high_pass_hz != bench.inputs[*load.minus].high_pass_hz) {
            remarks.push_back(
                fmt::format("load {}: its two inputs do not state the same high_pass_hz; that of {} "
                            "is taken for both",
                            in_quotes(load.name), in_quotes(bench.inputs[load.plus].name)));
        }
        if (std::isfinite(load.resistance_ohm) && load.resistance_doubts.empty()) {
            remarks.push_back(
                fmt::format("load {}: no uncertainty is stated, its resistance is taken as exact; give "
                            "uncertainty_percent or tolerance_percent",
                            in_quotes(load.name)));
        }
    }
    if (bench.jig && bench.jig->series_doubts.empty()) {
        remarks.emplace_back(
            "[impedance_jig]: no uncertainty is stated, series_ohm is taken as exact; give "
            "uncertainty_percent or tolerance_percent");
    }
    return remarks;
}

}  // namespace assay::cli
