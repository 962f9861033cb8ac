#include "property/drawn_job.h"

#include <fmt/format.h>

#include <algorithm>

#include "cli/measures/judgement/rating.h"
#include "cli/measures/measure.h"

namespace assay::drawn {

namespace {

using cli::Field;
using cli::FieldType;
using cli::Measure;

struct Planned {
    std::string id{};
    const Measure* measure = nullptr;
    std::string more{};  // lines that the tests which name it want of it
    bool open = false;   // at a load of no resistance
    bool plain = false;  // no field of its own beyond these
};

const std::vector<std::string> readings{"supply_idle_v", "supply_loaded_v", "dc_offset_mv"};

/// Keys whose text is the id of another test, and the measure that it should have.
std::string id_for(Draw& draw, const std::string& field, const std::vector<Planned>& plan) {
    static const std::vector<std::pair<std::string, std::string>> meant{
        {"floor", "noise"},      {"loaded", "response"},          {"unloaded", "response"},
        {"match", "match"},      {"free_air", "impedance"},       {"with_mass", "impedance"},
        {"in_box", "impedance"}, {"continuous", "clipping-power"}};
    for (const auto& [key, measure] : meant) {
        if (key != field) continue;
        std::vector<std::string> fit;
        for (const Planned& test : plan) {
            const bool role = field == "unloaded"    ? test.open
                              : field == "loaded"    ? !test.open
                              : field == "free_air"  ? test.more.empty()
                              : field == "with_mass" ? test.more.starts_with("added")
                              : field == "in_box"    ? test.more.starts_with("test_box")
                                                     : true;
            if (test.measure->name == measure && role) fit.push_back(test.id);
        }
        return !fit.empty() && draw.chance(0.97) ? draw.of(fit) : draw.of(plan).id;
    }
    return "";
}

std::string text_of(Draw& draw, const Field& field, const std::vector<Planned>& plan, const BenchText& bench,
                    cli::UnitKind kind) {
    if (const std::string id = id_for(draw, field.name, plan); !id.empty()) return id;
    if (field.name == "driven" || field.name == "idle") {
        const std::vector<std::string>& places = kind == cli::UnitKind::line ? bench.inputs : bench.loads;
        return places.empty() ? "nowhere" : draw.of(places);
    }
    if (field.name == "meter" && !bench.meters.empty()) return draw.of(bench.meters);
    if (field.name == "from_file") return draw.word({"curve.csv", "no-such.csv"});
    return draw.word(
        {"plain words", "", "a \"quoted\" <b>&amp;</b>", "\u03a9 \u00fc", std::string(300, 'y')});
}

double number_of(Draw& draw, const Field& field, double oddness) {
    double low = field.minimum;
    double high = field.maximum;
    if (!(low < high)) low = -1e6, high = 1e6;
    if (field.name == "minutes") high = 0.6;  // what takes long shows nothing more
    if (field.name == "drive_dbfs" && !draw.chance(oddness)) low = -40.0, high = -6.0;
    if (field.name == "frequency_hz" && !draw.chance(oddness)) low = 30.0, high = 5000.0;
    return draw.within(low, high);
}

std::string numbers_of(Draw& draw, const Field& field, double oddness) {
    std::vector<std::string> values;
    const std::size_t count = draw.chance(0.05) ? 0 : draw.chance(0.05) ? 40 : 1 + draw.below(4);
    for (std::size_t i = 0; i < count; ++i) {
        if (!values.empty() && draw.chance(0.1))
            values.push_back(values.back());  // the same one twice
        else
            values.push_back(number(number_of(draw, field, oddness)));
    }
    return fmt::format("[{}]", fmt::join(values, ", "));
}

std::string rows_of(Draw& draw, const Field& field) {
    std::string text = "[";
    double first = 0.0;
    const std::size_t count = 1 + draw.below(6);
    for (std::size_t i = 0; i < count; ++i) {
        text += i == 0 ? "{ " : ", { ";
        first += draw.decades(1e-3, 1.0);
        for (std::size_t k = 0; k < field.choices.size(); ++k) {
            const bool last = k + 1 == field.choices.size();
            if (last && k > 0 && draw.chance(0.5)) continue;
            text += fmt::format("{}{} = {}", k == 0 ? "" : ", ", field.choices[k],
                                number(k == 0 ? first : draw.within(field.minimum, field.maximum)));
        }
        text += " }";
    }
    return text + "]";
}

std::string value_of(Draw& draw, const Field& field, double oddness, const std::vector<Planned>& plan,
                     const BenchText& bench, cli::UnitKind kind) {
    switch (field.type) {
        case FieldType::number:
            return number(number_of(draw, field, oddness));
        case FieldType::numbers:
            return numbers_of(draw, field, oddness);
        case FieldType::choice:
            return in_toml(draw.of(field.choices));
        case FieldType::rows:
            return rows_of(draw, field);
        case FieldType::names: {
            if (field.name == "ask") return in_toml(std::vector<std::string>{draw.of(readings)});
            std::vector<std::string> names{text_of(draw, field, plan, bench, kind)};
            if (draw.chance(0.2)) names.push_back(text_of(draw, field, plan, bench, kind));
            return names.size() == 1 ? in_toml(names[0]) : in_toml(names);
        }
        case FieldType::text:
            return in_toml(text_of(draw, field, plan, bench, kind));
    }
    return "";
}

std::string places(Draw& draw, const std::vector<std::string>& all, const std::vector<std::string>& open,
                   bool wants_open, bool single) {
    if (all.empty() && open.empty()) return in_toml(std::vector<std::string>{"nowhere"});
    if ((wants_open || all.empty()) && !open.empty()) return in_toml(std::vector<std::string>{draw.of(open)});
    std::vector<std::string> chosen{draw.of(all)};
    if (draw.chance(0.3) && !single) chosen = all;
    if (draw.chance(0.01)) chosen.push_back(chosen.front());
    return in_toml(chosen);
}

std::string test(Draw& draw, const Planned& planned, double oddness, const std::vector<Planned>& plan,
                 const BenchText& bench, cli::UnitKind kind) {
    const Measure& measure = *planned.measure;
    std::string text =
        fmt::format("[[test]]\nid = {}\nmeasure = {}\n", in_toml(planned.id), in_toml(measure.name));
    const bool per_load = std::any_of(measure.quantities.begin(), measure.quantities.end(),
                                      [](const cli::QuantityEntry& entry) { return entry.per_load; });
    const bool jig = measure.name == "impedance" || measure.name == "match";
    if (per_load && kind == cli::UnitKind::line && (measure.name != "response" || draw.chance(0.7))) {
        text += "inputs = " + places(draw, bench.inputs, {}, false, planned.plain) + "\n";
    } else if (per_load) {
        const bool open = planned.open || (!planned.plain && draw.chance(0.05));
        text += "loads = " + places(draw, bench.loads, bench.open_loads, open, planned.plain) + "\n";
    }
    if (per_load && !bench.references.empty() && draw.chance(0.4))
        text += "reference = " + in_toml(draw.of(bench.references)) + "\n";
    const auto add = [&](const Field& field) {
        text += field.name + " = " + value_of(draw, field, oddness, plan, bench, kind) + "\n";
    };
    text += planned.more;
    std::vector<std::string> there;
    for (const Field& field : measure.fields) {
        if (planned.plain) break;
        if (planned.more.find(field.name + " =") != std::string::npos) continue;
        const bool other_place = field.name == "with_mass" || field.name == "in_box";
        const double often = field.name == "effective_diameter_mm" ? 0.8
                             : other_place                         ? 0.03
                                                                   : 0.1 + 0.3 * oddness;
        if (!field.required && !draw.chance(often)) continue;
        add(field);
        there.push_back(field.name);
    }
    bool level = false;
    for (const Field& field : cli::common_fields()) {
        const bool is_level =
            field.name == "drive_dbfs" || field.name == "drive_volts" || field.name == "power_w";
        if (jig && !is_level) continue;
        if (is_level && level && !draw.chance(0.02)) continue;
        if (std::find(there.begin(), there.end(), field.name) != there.end()) continue;
        if (!measure.plays || !draw.chance(0.05 + 0.2 * oddness)) continue;
        level = level || is_level;
        add(field);
        there.push_back(field.name);
    }
    for (const Field& field : cli::reading_fields()) {
        if (std::find(there.begin(), there.end(), field.name) != there.end()) continue;
        if (draw.chance(0.01 + 0.06 * oddness)) add(field);
    }
    return text + "\n";
}

std::string claim(Draw& draw, double oddness, const std::vector<Planned>& plan, const BenchText& bench,
                  cli::UnitKind kind) {
    const Planned& of = draw.of(plan);
    if (of.measure->quantities.empty()) return "";
    const cli::QuantityEntry& entry = draw.of(of.measure->quantities);
    std::string quantity = entry.name;
    if (const auto at = quantity.find("{limit}"); at != std::string::npos)
        quantity.replace(at, 7, draw.chance(0.5) ? "1" : "10");
    std::string text = fmt::format("[[claim]]\ntext = \"as advertised\"\ntest = {}\nquantity = {}\n",
                                   in_toml(of.id), in_toml(quantity));
    const auto& at = kind == cli::UnitKind::line ? bench.inputs : bench.loads;
    if (entry.per_load && !at.empty())
        text +=
            fmt::format("{} = {}\n", kind == cli::UnitKind::line ? "input" : "load", in_toml(draw.of(at)));
    const double limit = draw.decades(1e-3, 1e3);
    if (draw.chance(0.4))
        text +=
            fmt::format("nominal = {}\nwithin_percent = {}\n", number(limit), number(draw.within(0.1, 50.0)));
    else
        text += fmt::format("{} = {}\n", draw.word({"at_least", "at_most"}), number(limit));
    for (const char* basis : {"at_supply_volts", "at_load_ohm", "channels_driven"}) {
        if (draw.chance(0.1 + 0.1 * oddness)) text += fmt::format("{} = {}\n", basis, draw.from_to(1, 12));
    }
    return text + "\n";
}

std::string rating(Draw& draw) {
    std::string text = "[rating]\nbasis = " + in_toml(draw.of(cli::rating_bases()).name) + "\n";
    if (draw.chance(0.6)) text += "rated_power_w = " + number(draw.decades(0.01, 1000.0)) + "\n";
    if (draw.chance(0.4)) text += fmt::format("channels = {}\n", draw.from_to(1, 6));
    if (draw.chance(0.2)) text += "held_minutes = " + number(draw.between(0.0, 60.0)) + "\n";
    return text + "\n";
}

/// A few steps: the whole staircase sounds for two minutes.
std::string brief_staircase(Draw& draw) {
    const double to = -draw.within(0.0, 12.0);
    return fmt::format("to_dbfs = {}\nfrom_dbfs = {}\nstep_db = {}\n", number(to),
                       number(std::min(to, -1.0) - draw.within(0.0, 12.0)), number(draw.decades(0.5, 6.0)));
}

/// The measures that suit the unit and the bench, most of the time; those that name others come with them.
std::vector<Planned> plan_of(Draw& draw, cli::UnitKind kind) {
    const std::vector<std::string> drivers{"impedance", "match", "driver-parameters"};
    std::vector<Planned> plan;
    const std::size_t count = 1 + draw.below(3);
    while (plan.size() < count) {
        const Measure& measure = draw.of(cli::measure_table());
        const bool of_driver = std::find(drivers.begin(), drivers.end(), measure.name) != drivers.end();
        if (of_driver != (kind == cli::UnitKind::driver) && !draw.chance(0.05)) continue;
        if (measure.in_watts && kind == cli::UnitKind::line && !draw.chance(0.05)) continue;
        plan.push_back({fmt::format("t{}-{}", plan.size(), measure.name), &measure});
        if (measure.name == "clipping-power" && draw.chance(0.7)) plan.back().more = brief_staircase(draw);
        const auto with = [&](const char* other, const std::string& more, bool open) {
            plan.push_back(
                {fmt::format("t{}-{}", plan.size(), other), cli::find_measure(other), more, open, true});
        };
        if (measure.name == "output-impedance" && draw.chance(0.9)) {
            with("response", "", false);
            with("response", "", true);
        }
        if (measure.name == "driver-parameters" && draw.chance(0.9)) {
            with("impedance", "", false);
            const std::size_t parameters = plan.size() - 2;
            const bool mass = draw.chance(0.5);
            with("impedance", mass ? "added_mass_g = 10\n" : "test_box_l = 8\n", false);
            plan[parameters].more =
                fmt::format("{} = \"{}\"\n", mass ? "with_mass" : "in_box", plan.back().id);
        }
        if (measure.name == "burst-power" && draw.chance(0.2))
            with("clipping-power", brief_staircase(draw), false);
    }
    return plan;
}

}  // namespace

std::string job(Draw& draw, double oddness, const BenchText& bench) {
    const std::vector<cli::UnitKind> kinds{cli::UnitKind::amplifier, cli::UnitKind::amplifier,
                                           cli::UnitKind::driver, cli::UnitKind::line};
    const cli::UnitKind kind = draw.of(kinds);
    std::string text = fmt::format("[unit]\nkind = \"{}\"\n", kind == cli::UnitKind::amplifier ? "amplifier"
                                                              : kind == cli::UnitKind::driver  ? "driver"
                                                                                               : "line");
    if (draw.chance(0.5))
        text += "maker = " + in_toml(draw.word({"Quellbach", "\u00c5\u00df & <Co>", ""})) + "\n";
    if (draw.chance(0.3)) text += "minimum_load_ohm = " + number(draw.decades(0.1, 100.0)) + "\n";
    if (draw.chance(0.3)) text += "output_stage = " + in_toml(draw.word({"linear", "switching"})) + "\n";
    text += "\n";
    if (kind == cli::UnitKind::amplifier && draw.chance(0.2)) text += rating(draw);
    const std::vector<Planned> plan = plan_of(draw, kind);
    for (const Planned& planned : plan) text += test(draw, planned, oddness, plan, bench, kind);
    const std::size_t claims = draw.chance(0.6) ? 0 : 1 + draw.below(2);
    for (std::size_t i = 0; i < claims; ++i) text += claim(draw, oddness, plan, bench, kind);
    return text;
}

std::string curve_csv() {
    std::string text = "frequency_hz,magnitude_ohm,phase_deg\n";
    for (int k = 0; k <= 60; ++k) {
        const double hz = 10.0 * std::pow(2000.0, k / 60.0);
        const double far = 5.0 * (hz / 50.0 - 50.0 / hz);
        const double real = 5.8 + 30.0 / (1.0 + far * far);
        const double imaginary = 0.02 * std::sqrt(hz) - 30.0 * far / (1.0 + far * far);
        text += fmt::format("{},{},{}\n", hz, std::hypot(real, imaginary),
                            std::atan2(imaginary, real) * 57.29577951308232);
    }
    return text;
}

}  // namespace assay::drawn
