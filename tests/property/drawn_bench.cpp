#include "property/drawn_bench.h"

#include <fmt/format.h>

#include <variant>

#include "capture/simulated/settings_keys.h"

namespace assay::drawn {

namespace {

class Table {
  public:
    explicit Table(std::string header) : text_(std::move(header) + "\n") {}
    void add(const std::string& key, const std::string& value) { text_ += key + " = " + value + "\n"; }
    void add(const std::string& key, double value) { add(key, number(value)); }
    void add(const std::string& key, bool value) { add(key, std::string(value ? "true" : "false")); }
    std::string end() const { return text_ + "\n"; }

  private:
    std::string text_;
};

void doubt(Draw& draw, Table& table, const std::vector<std::string>& meters) {
    if (draw.chance(0.3)) return;
    if (!meters.empty() && draw.chance(0.3)) return table.add("meter", in_toml(draw.of(meters)));
    table.add(draw.chance(0.5) ? "uncertainty_percent" : "tolerance_percent",
              draw.chance(0.2) ? draw.within(0.0, 100.0) : draw.decades(0.01, 3.0));
}

std::string name(Draw& draw, const std::string& stem, std::size_t index, double oddness) {
    const std::string plain = fmt::format("{}-{}", stem, index + 1);
    if (!draw.chance(0.2 * oddness)) return plain;
    const std::vector<std::string> odd{plain + " of the \"shelf\"", plain + " \u00fc\u00f1\u03a9",
                                       plain + std::string(80, 'x'), plain + "/../<b>&", "  " + plain};
    return draw.of(odd);
}

std::string output(Draw& draw, std::size_t index, double oddness, BenchText& bench) {
    Table table("[[output]]");
    bench.outputs.push_back(name(draw, "out", index, oddness));
    table.add("name", in_toml(bench.outputs.back()));
    table.add("channel", static_cast<double>(index + 1));
    const bool scale = draw.chance(0.8);
    if (scale) table.add("volts_at_full_scale", draw.chance(oddness) ? draw.within(1e-3, 1e5) : 2.0);
    if (draw.chance(0.4)) table.add("maximum_dbfs", draw.chance(0.7) ? 0.0 : draw.within(-60.0, 0.0));
    if (scale && draw.chance(0.3))
        table.add("maximum_volts", draw.chance(0.3) ? draw.decades(0.01, 10.0) : 1.5);
    if (draw.chance(0.15)) table.add("inverted", true);
    return table.end();
}

std::string input(Draw& draw, std::size_t index, double oddness, BenchText& bench) {
    Table table("[[input]]");
    const std::string own = name(draw, "probe", index, oddness);
    table.add("name", in_toml(own));
    table.add("channel", static_cast<double>(index + 1));
    table.add("volts_at_full_scale", draw.chance(0.3 * oddness) ? draw.within(1e-6, 1e5) : 1.95);
    if (draw.chance(0.9))
        table.add("attenuation", draw.chance(0.2 * oddness) ? draw.within(1e-3, 1e6) : 25.0);
    doubt(draw, table, bench.meters);
    if (draw.chance(0.3)) table.add("clean_up_to_dbfs", draw.within(-20.0, 0.0));
    if (draw.chance(0.2)) table.add("own_thd_percent", draw.decades(1e-5, 100.0));
    if (draw.chance(0.2)) table.add("high_pass_hz", draw.decades(0.1, 1000.0));
    if (draw.chance(0.3)) table.add("calibrated_at_hz", draw.decades(10.0, 4000.0));
    if (draw.chance(0.15)) table.add("inverted", true);
    const bool voltage = index == 0 || draw.chance(0.8);
    if (!voltage) {
        const bool reference = draw.chance(0.6);
        table.add("role", in_toml(std::string(reference ? "reference" : "clip-detector")));
        if (reference)
            bench.references.push_back(own);
        else if (draw.chance(0.7))
            table.add("threshold_dbfs", draw.within(-60.0, 0.0));
    } else {
        bench.inputs.push_back(own);
    }
    if (!bench.outputs.empty() && draw.chance(0.95))
        table.add("driven_by", in_toml(std::vector<std::string>{draw.of(bench.outputs)}));
    return table.end();
}

std::string load(Draw& draw, std::size_t index, double oddness, BenchText& bench) {
    Table table("[[load]]");
    const std::string own = name(draw, "load", index, oddness);
    table.add("name", in_toml(own));
    if (draw.chance(index == 0 ? 0.05 : 0.3)) {
        table.add("resistance_ohm", std::string("inf"));
        bench.open_loads.push_back(own);
    } else {
        bench.loads.push_back(own);
        table.add("resistance_ohm",
                  draw.chance(0.2 * oddness) ? draw.decades(1e-4, 1e9) : draw.of<double>({2.0, 4.03, 8.0}));
    }
    doubt(draw, table, {});
    const std::string plus = draw.of(bench.inputs);
    table.add("plus", in_toml(plus));
    const std::string minus = draw.of(bench.inputs);
    if (minus != plus && draw.chance(0.3)) table.add("minus", in_toml(minus));
    if (!bench.outputs.empty()) {
        std::vector<std::string> drivers{bench.outputs[index % bench.outputs.size()]};
        if (draw.chance(0.2)) drivers = bench.outputs;
        if (bench.outputs.size() > 1 || draw.chance(0.5)) table.add("driven_by", in_toml(drivers));
    }
    if (draw.chance(0.4)) table.add("rated_power_w", draw.decades(0.1, 1e4));
    if (draw.chance(0.1)) table.add("rated_power_no_heatsink_w", draw.decades(0.1, 1e3));
    if (draw.chance(0.2)) table.add("tempco_ppm_per_k", draw.within(-100.0, 100.0));
    if (draw.chance(0.2)) table.add("inductance_uh", draw.chance(oddness) ? draw.within(0.0, 1e6) : 3.0);
    return table.end();
}

std::string jig(Draw& draw, double oddness, const BenchText& bench) {
    Table table("[impedance_jig]");
    const std::size_t first = draw.below(bench.inputs.size());
    table.add("generator_side", in_toml(bench.inputs[first]));
    table.add("driver_side", in_toml(bench.inputs[(first + 1) % bench.inputs.size()]));
    table.add("series_ohm", draw.chance(oddness) ? draw.decades(0.01, 1e6) : 22.05);
    if (draw.chance(0.4)) table.add("topology", in_toml(draw.word({"series-high", "sense-low"})));
    doubt(draw, table, {});
    if (draw.chance(0.5)) table.add("lead_ohm", draw.chance(oddness) ? draw.within(0.0, 1000.0) : 0.04);
    if (draw.chance(0.3)) table.add("input_resistance_ohm", draw.decades(1.0, 1e9));
    return table.end();
}

struct SettingText {
    Draw* draw;
    const capture::SettingKey* setting;

    std::string operator()(double*) const { return number(draw->within(setting->minimum, setting->maximum)); }
    std::string operator()(int*) const {
        return number(std::round(draw->between(setting->minimum, setting->maximum)));
    }
    std::string operator()(bool*) const { return draw->chance(0.5) ? "true" : "false"; }
    std::string operator()(std::array<double, 2>*) const {
        return fmt::format("[{}, {}]", number(draw->within(setting->minimum, setting->maximum)),
                           number(draw->within(setting->minimum, setting->maximum)));
    }
    std::string operator()(std::uint64_t*) const { return std::to_string(draw->below(1000)); }
};

/// Settings come from the same list as the reader's, so a new one is drawn without a word here.
std::string simulated(Draw& draw, double oddness) {
    capture::SimulatedBench members;
    std::string text;
    std::string table;
    for (const capture::SettingKey& setting : capture::setting_keys(members)) {
        if (!draw.chance(0.08 * oddness)) continue;
        if (setting.key == "delay_s" && draw.chance(0.8)) continue;  // a minute of silence costs a second
        if (table != setting.table) text += fmt::format("[{}]\n", table = setting.table);
        text +=
            fmt::format("{} = {}\n", setting.key, std::visit(SettingText{&draw, &setting}, setting.value));
    }
    return text;
}

}  // namespace

std::string number(double value) {
    return fmt::format("{}", value);
}

std::string in_toml(const std::string& text) {
    std::string made = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') made += '\\';
        made += c;
    }
    return made + "\"";
}

std::string in_toml(const std::vector<std::string>& texts) {
    std::string made = "[";
    for (const std::string& text : texts) made += (made.size() > 1 ? ", " : "") + in_toml(text);
    return made + "]";
}

BenchText bench(Draw& draw, double oddness) {
    BenchText bench;
    Table sound("[sound]");
    sound.add("source", in_toml(std::string("simulated")));
    sound.add("sample_rate_hz", draw.chance(0.7) ? 48000.0 : draw.of<double>({8000, 22050, 44100, 96000}));
    if (draw.chance(0.2))
        sound.add("ground", in_toml(draw.word({"supply-negative", "load-minus", "isolated"})));
    if (draw.chance(0.2)) sound.add("shared_clock", false);
    bench.text = sound.end();
    if (draw.chance(0.4)) {
        Table meter("[[meter]]");
        bench.meters.emplace_back("bench-meter");
        meter.add("name", in_toml(bench.meters.back()));
        meter.add("accuracy_percent", draw.within(0.0, 10.0));
        meter.add("digits", draw.chance(0.3) ? 0.0 : 3.0);
        meter.add("resolution_v", draw.decades(1e-4, 1.0));
        bench.text += meter.end();
    }
    const std::size_t outputs = draw.chance(0.03) ? 0 : 1 + draw.below(2);
    for (std::size_t i = 0; i < outputs; ++i) bench.text += output(draw, i, oddness, bench);
    const std::size_t inputs = draw.chance(0.1) ? 1 : 2 + draw.below(3);
    for (std::size_t i = 0; i < inputs; ++i) bench.text += input(draw, i, oddness, bench);
    const std::size_t loads = draw.chance(0.03) ? 0 : 1 + draw.below(3);
    for (std::size_t i = 0; i < loads; ++i) bench.text += load(draw, i, oddness, bench);
    if (bench.inputs.size() > 1 && draw.chance(0.7)) bench.text += jig(draw, oddness, bench);
    bench.text += simulated(draw, oddness);
    return bench;
}

}  // namespace assay::drawn
