// What tests in the impedance jig share: fields, checks, their tone.
#include <fmt/format.h>

#include "capture/tone/impedance_tone.h"
#include "cli/measures/fields.h"
#include "cli/measures/impedance.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

std::vector<Field> jig_fields() {
    return {
        {.name = "start_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .default_text = "10",
         .minimum = 5.0,
         .maximum = 5000.0,
         .help = "lowest frequency of the curve"},
        {.name = "stop_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .default_text = "20000",
         .minimum = 100.0,
         .maximum = 40000.0,
         .help = "highest frequency of the curve"},
    };
}

capture::Result<void> check_jig_test(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::bad_input_file, text, mend);
    };
    if (!setup.bench->jig) {
        return refuse(
            fmt::format("measure: {} needs a jig, and the bench has no [impedance_jig]", setup.test->measure),
            "describe the jig in the bench file: series_ohm, generator_side, driver_side");
    }
    if (!setup.test->loads.empty())
        return refuse("loads: a test in the impedance jig has no loads", "take loads out");
    for (const char* field : {"frequency_hz", "distortion_bandwidth_hz"}) {
        if (setup.test->fields.contains(field))
            return refuse(fmt::format("{}: all frequencies sound at once, from start_hz to stop_hz", field),
                          "take it out");
    }
    const double start = field_number(*setup.test, "start_hz");
    const double stop = field_number(*setup.test, "stop_hz");
    const char* own = setup.test->number("stop_hz") ? "stop_hz" : "start_hz";
    if (stop < 4.0 * start) {
        return refuse(fmt::format("{}: from {:.6g} to {:.6g} Hz are less than two octaves", own, start, stop),
                      "widen the band: a curve needs room beside its peak");
    }
    if (stop > highest_share_of_rate * setup.tone_rate_hz) {
        return refuse(fmt::format("stop_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz", stop,
                                  setup.tone_rate_hz),
                      fmt::format("stay below {:.6g} Hz, or raise sample_rate_hz",
                                  highest_share_of_rate * setup.tone_rate_hz));
    }
    if (setup.test->number("power_w")) {
        return refuse("power_w: a driver's power is not known before it is measured",
                      "give the level as drive_dbfs or drive_volts");
    }
    return check_level(setup);
}

std::optional<capture::Tone> next_jig_tone(const Setup& setup, std::span<const Take> takes) {
    if (!takes.empty()) return std::nullopt;
    return capture::make_impedance_tone({.rate_hz = setup.tone_rate_hz,
                                         .start_hz = field_number(*setup.test, "start_hz"),
                                         .stop_hz = field_number(*setup.test, "stop_hz"),
                                         .level_dbfs = drive_dbfs(setup).value_or(-20.0),
                                         .code = setup.test->id + "/" + setup.test->measure});
}

std::optional<capture::PlayRequest::InJig> in_jig_of(const Test& test) {
    if (test.measure != "impedance" && test.measure != "match") return std::nullopt;
    return capture::PlayRequest::InJig{test.measure == "match" && !test.number("known_ohm"),
                                       test.number("added_mass_g").value_or(0.0),
                                       test.number("test_box_l").value_or(0.0)};
}

void warn_of_exact_jig(const Setup& setup, bool scales_matter, TestResult& result) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    if (jig.series_doubts.empty()) warn_of_exact("series_ohm of [impedance_jig]", result.whole);
    if (!scales_matter) return;
    for (const std::size_t index : {jig.generator_side, jig.driver_side}) {
        const capture::Input& input = setup.bench->inputs[index];
        if (input.scale_doubts.empty()) warn_of_exact("input \"" + input.name + "\"", result.whole);
    }
}

}  // namespace assay::cli
