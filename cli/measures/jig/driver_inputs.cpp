#include "cli/measures/jig/driver_inputs.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <numbers>
#include <set>

#include "cli/measures/fields.h"
#include "cli/measures/jig/impedance_reading.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

struct Kind {
    const char* field;
    const char* load;  // field of the named test that says what was done to the driver; empty: nothing was
    const char* mend;
};

constexpr std::array<Kind, 3> kinds{{
    {"free_air", "", "name tests in free air; those with a mass or box stand in with_mass and in_box"},
    {"with_mass", "added_mass_g", "add added_mass_g to that test, or name another one"},
    {"in_box", "test_box_l", "add test_box_l to that test, or name another one"},
}};

Result<void> check_kind(const Setup& setup, const Kind& kind) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    // Where no test can be asked for, the job's reader has checked it before.
    if (!setup.named) return {};
    for (const std::string& id : setup.test->names(kind.field)) {
        const auto named = setup.named(id);
        if (!named) {
            return refuse(fmt::format("{}: the job has no test \"{}\"", kind.field, id),
                          "give the id of an impedance test of this job");
        }
        if (named->test->measure != "impedance") {
            return refuse(fmt::format("{}: test \"{}\" is no impedance test", kind.field, id),
                          "give the id of an impedance test of this job");
        }
        const std::string load = kind.load;
        for (const char* field : {"added_mass_g", "test_box_l"}) {
            const bool there = named->test->number(field).has_value();
            if (field == load && !there) {
                return refuse(fmt::format("{}: test \"{}\" has no {}", kind.field, id, field), kind.mend);
            }
            if (field != load && there) {
                return refuse(fmt::format("{}: test \"{}\" has {}", kind.field, id, field), kind.mend);
            }
        }
    }
    return {};
}

Field number_field(std::string name, std::string unit, std::string default_text, double minimum,
                   double maximum, std::string help) {
    Field field;
    field.name = std::move(name);
    field.unit = std::move(unit);
    field.default_text = std::move(default_text);
    field.minimum = minimum;
    field.maximum = maximum;
    field.help = std::move(help);
    return field;
}

double share(const Test& test, const char* field) {
    return field_number(test, field) / 100.0;
}

}  // namespace

std::vector<Field> driver_parameters_fields() {
    std::vector<Field> fields{
        {.name = "free_air",
         .type = FieldType::names,
         .required = true,
         .help = "id of the impedance test in free air, or a list of such ids"},
        {.name = "with_mass",
         .type = FieldType::names,
         .help = "id or ids of impedance tests with a mass on the cone (added_mass_g)"},
        {.name = "in_box",
         .type = FieldType::names,
         .help = "id or ids of impedance tests on a closed box (test_box_l)"},
    };
    const auto add = [&](const char* name, const char* unit, const char* default_text, double minimum,
                         double maximum, const char* help) {
        fields.push_back(number_field(name, unit, default_text, minimum, maximum, help));
    };
    add("effective_diameter_mm", "mm", "", 5.0, 1000.0, "of the cone, from mid-surround to mid-surround");
    add("effective_area_cm2", "cm2", "", 0.2, 8000.0, "area of the cone, instead of the diameter");
    add("dc_resistance_ohm", "ohm", "", 0.1, 2000.0,
        "of the coil, by meter, without its leads; left out: fitted");
    add("temperature_c", "degC", "20", -20.0, 50.0, "of the room");
    add("pressure_hpa", "hPa", "1013.25", 500.0, 1100.0, "of the air, where the test was made");
    add("humidity_percent", "%", "50", 0.0, 100.0, "relative, of the air");
    add("effective_diameter_uncertainty_percent", "%", "1", 0.0, 20.0,
        "standard uncertainty of the diameter; the area has twice as much");
    add("mass_uncertainty_percent", "%", "0.5", 0.0, 20.0,
        "standard uncertainty of the scale that weighed the masses");
    add("box_uncertainty_percent", "%", "1", 0.0, 20.0, "standard uncertainty of each box's net volume");
    add("dc_resistance_uncertainty_percent", "%", "1", 0.01, 20.0,
        "standard uncertainty of the meter's resistance");
    add("temperature_uncertainty_c", "degC", "2", 0.0, 20.0, "standard uncertainty of the temperature");
    add("pressure_uncertainty_hpa", "hPa", "10", 0.0, 200.0,
        "standard uncertainty of the pressure; 100 m of height are 12 hPa");
    add("humidity_uncertainty_percent", "%", "15", 0.0, 50.0, "standard uncertainty of the humidity");
    return fields;
}

Result<void> check_driver_parameters(const Setup& setup) {
    const Test& test = *setup.test;
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    for (const Kind& kind : kinds) {
        if (auto checked = check_kind(setup, kind); !checked) return checked;
    }
    const auto diameter = test.number("effective_diameter_mm");
    const auto area = test.number("effective_area_cm2");
    if (diameter && area) {
        return refuse("effective_area_cm2: stands beside effective_diameter_mm", "give one of the two");
    }
    if (!test.names("with_mass").empty() && !test.names("in_box").empty() && !diameter && !area) {
        return refuse("in_box: beside with_mass it needs the area of the cone",
                      "add effective_diameter_mm, or leave one of the two out");
    }
    std::set<std::string> seen;
    for (const Kind& kind : kinds) {
        for (const std::string& id : test.names(kind.field)) {
            if (!seen.insert(id).second)
                return refuse(fmt::format("{}: test \"{}\" is named twice", kind.field, id), "name it once");
        }
    }
    return {};
}

Result<analysis::DriverInputs> driver_inputs(const Setup& setup) {
    const Test& test = *setup.test;
    analysis::DriverInputs inputs;
    inputs.test = test.id;
    for (const Kind& kind : kinds) {
        for (const std::string& id : test.names(kind.field)) {
            const auto named = setup.named ? setup.named(id) : std::nullopt;
            if (!named) {
                return capture::fail(FaultKind::untrusted_capture,
                                     fmt::format("test \"{}\" is not there", id),
                                     "measure it, or take it out of the job");
            }
            Setup its = setup;
            its.test = named->test;
            auto curve = impedance_curve_of(its, named->takes);
            if (!curve) {
                capture::Fault fault = curve.error();
                fault.text = fmt::format("test \"{}\": {}", id, fault.text);
                return tl::unexpected<capture::Fault>(fault);
            }
            analysis::LoadedCurve taken;
            taken.test = id;
            taken.curve = std::move(*curve);
            taken.added_mass_kg = named->test->number("added_mass_g").value_or(0.0) / 1e3;
            taken.box_m3 = named->test->number("test_box_l").value_or(0.0) / 1e3;
            inputs.curves.push_back(std::move(taken));
        }
    }
    if (const auto area = test.number("effective_area_cm2")) inputs.area_m2 = *area / 1e4;
    if (const auto diameter = test.number("effective_diameter_mm"))
        inputs.area_m2 = std::numbers::pi / 4.0 * std::pow(*diameter / 1e3, 2);
    if (const auto ohm = test.number("dc_resistance_ohm"))
        inputs.meter =
            analysis::MeterResistance{*ohm, *ohm * share(test, "dc_resistance_uncertainty_percent")};
    inputs.air = {field_number(test, "temperature_c"), field_number(test, "pressure_hpa"),
                  field_number(test, "humidity_percent")};
    inputs.doubts.area = 2.0 * share(test, "effective_diameter_uncertainty_percent");
    inputs.doubts.mass_scale = share(test, "mass_uncertainty_percent");
    inputs.doubts.box_volume = share(test, "box_uncertainty_percent");
    inputs.doubts.temperature_c = field_number(test, "temperature_uncertainty_c");
    inputs.doubts.pressure_hpa = field_number(test, "pressure_uncertainty_hpa");
    inputs.doubts.humidity_percent = field_number(test, "humidity_uncertainty_percent");
    return inputs;
}

}  // namespace assay::cli
