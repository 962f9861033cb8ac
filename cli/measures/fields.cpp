#include "cli/measures/fields.h"

#include <fmt/format.h>

#include <algorithm>
#include <numbers>
#include <set>
#include <stdexcept>

#include "analysis/units.h"

namespace assay::cli {

namespace {

const Field* find_field(const Test& test, const std::string& name) {
    const auto in = [&](const std::vector<Field>& fields) -> const Field* {
        for (const Field& field : fields) {
            if (field.name == name) return &field;
        }
        return nullptr;
    };
    if (const Measure* measure = find_measure(test.measure)) {
        if (const Field* field = in(measure->fields)) return field;
    }
    if (const Field* field = in(common_fields())) return field;
    return in(reading_fields());
}

const std::string& default_of(const Test& test, const std::string& name) {
    const Field* field = find_field(test, name);
    if (field == nullptr) throw std::logic_error("no field " + name);
    return field->default_text;
}

}  // namespace

std::optional<double> Test::number(const std::string& field) const {
    const auto found = fields.find(field);
    if (found == fields.end() || !std::holds_alternative<double>(found->second)) return std::nullopt;
    return std::get<double>(found->second);
}

std::optional<std::string> Test::text(const std::string& field) const {
    const auto found = fields.find(field);
    if (found == fields.end() || !std::holds_alternative<std::string>(found->second)) return std::nullopt;
    return std::get<std::string>(found->second);
}

std::optional<std::vector<double>> Test::numbers(const std::string& field) const {
    const auto found = fields.find(field);
    if (found == fields.end() || !std::holds_alternative<std::vector<double>>(found->second))
        return std::nullopt;
    return std::get<std::vector<double>>(found->second);
}

std::vector<std::string> Test::names(const std::string& field) const {
    const auto found = fields.find(field);
    if (found == fields.end() || !std::holds_alternative<std::vector<std::string>>(found->second)) return {};
    return std::get<std::vector<std::string>>(found->second);
}

double field_number(const Test& test, const std::string& field) {
    if (const auto own = test.number(field)) return *own;
    return std::stod(default_of(test, field));
}

std::vector<double> field_numbers(const Test& test, const std::string& field) {
    if (const auto own = test.numbers(field)) return *own;
    std::vector<double> values;
    std::string number;
    for (const char c : default_of(test, field) + ",") {
        if ((c >= '0' && c <= '9') || c == '.' || c == '-') {
            number += c;
        } else if (!number.empty()) {
            values.push_back(std::stod(number));
            number.clear();
        }
    }
    return values;
}

std::string field_text(const Test& test, const std::string& field) {
    return test.text(field).value_or(default_of(test, field));
}

std::vector<std::size_t> outputs_of(const Setup& setup) {
    // A test without loads sits in the impedance jig, which hangs on the first output.
    if (setup.test->loads.empty() && setup.bench->jig && !setup.bench->outputs.empty()) return {0};
    std::set<std::size_t> outputs;
    const auto driven = setup.test->text("driven");  // of several loads only this one is
    for (const std::size_t index : setup.test->loads) {
        if (driven && setup.bench->loads[index].name != *driven) continue;
        const auto& driven_by = setup.bench->loads[index].driven_by;
        outputs.insert(driven_by.begin(), driven_by.end());
    }
    return {outputs.begin(), outputs.end()};
}

double limit_dbfs(const Setup& setup) {
    const std::vector<std::size_t> outputs = outputs_of(setup);
    if (outputs.empty()) return capture::Output{}.limit_dbfs();
    double limit = 0.0;
    for (const std::size_t index : outputs) limit = std::min(limit, setup.bench->outputs[index].limit_dbfs());
    return limit;
}

std::optional<double> drive_dbfs(const Setup& setup) {
    if (const auto level = setup.test->number("drive_dbfs")) return level;
    if (setup.test->number("power_w")) return std::nullopt;
    if (const auto volts = setup.test->number("drive_volts")) {
        const std::vector<std::size_t> outputs = outputs_of(setup);
        if (outputs.empty()) return std::nullopt;
        const auto scale = setup.bench->outputs[outputs.front()].volts_at_full_scale;
        if (!scale) return std::nullopt;
        return analysis::decibels(*volts * std::numbers::sqrt2 / *scale);
    }
    return field_number(*setup.test, "drive_dbfs");
}

capture::Result<void> check_level(const Setup& setup) {
    const auto broken = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::bad_input_file, text, mend);
    };
    const double limit = limit_dbfs(setup);
    if (setup.test->number("drive_volts")) {
        const std::vector<std::size_t> outputs = outputs_of(setup);
        for (const std::size_t index : outputs) {
            const capture::Output& output = setup.bench->outputs[index];
            if (!output.volts_at_full_scale) {
                return broken(
                    fmt::format("drive_volts: the volts_at_full_scale of output \"{}\" is not known",
                                output.name),
                    "calibrate the output, or give the level as drive_dbfs");
            }
            if (*output.volts_at_full_scale != *setup.bench->outputs[outputs.front()].volts_at_full_scale) {
                return broken(
                    fmt::format("drive_volts: outputs \"{}\" and \"{}\" differ in volts_at_full_scale",
                                setup.bench->outputs[outputs.front()].name, output.name),
                    "give the level as drive_dbfs");
            }
        }
        if (outputs.empty()) {
            return broken("drive_volts: the bench has no output that reaches the test's loads",
                          "add the output, or give the level as drive_dbfs");
        }
    }
    const auto level = drive_dbfs(setup);
    constexpr double rounding_db = 1e-9;
    if (level && *level > limit + rounding_db) {
        const bool by_volts = setup.test->number("drive_volts").has_value();
        return broken(
            by_volts ? fmt::format("drive_volts: {:.4g} V RMS peaks at {:.4g} V, above the bench's maximum "
                                   "({:.2f} dBFS, the limit is {:.2f} dBFS)",
                                   *setup.test->number("drive_volts"),
                                   *setup.test->number("drive_volts") * std::numbers::sqrt2, *level, limit)
                     : fmt::format("drive_dbfs: {:.2f} dBFS is above the bench's maximum of {:.2f} dBFS",
                                   *level, limit),
            "lower the level, or raise the output's maximum_volts or maximum_dbfs if the unit bears it");
    }
    return {};
}

capture::Result<void> check_frequency(const Setup& setup) {
    const double frequency = field_number(*setup.test, "frequency_hz");
    const double rate = setup.tone_rate_hz;
    if (frequency > highest_share_of_rate * rate) {
        return capture::fail(
            capture::FaultKind::bad_input_file,
            fmt::format("frequency_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz", frequency,
                        rate),
            fmt::format("stay below {:.6g} Hz, or raise sample_rate_hz", highest_share_of_rate * rate));
    }
    const double bandwidth = field_number(*setup.test, "distortion_bandwidth_hz");
    if (2.0 * frequency > std::min(bandwidth, 0.4999 * rate)) {
        return capture::fail(capture::FaultKind::bad_input_file,
                             fmt::format("frequency_hz: no harmonic of {:.6g} Hz lies within {:.6g} Hz",
                                         frequency, std::min(bandwidth, 0.5 * rate)),
                             "take a lower frequency: distortion is judged by the harmonics within the band");
    }
    return {};
}

std::vector<double> frequencies_of(const Setup& setup) {
    std::vector<double> frequencies = field_numbers(*setup.test, "frequencies_hz");
    if (!setup.test->numbers("frequencies_hz"))
        std::erase_if(frequencies,
                      [&](double hz) { return hz > highest_share_of_rate * setup.tone_rate_hz; });
    frequencies.push_back(1000.0);
    std::sort(frequencies.begin(), frequencies.end());
    frequencies.erase(std::unique(frequencies.begin(), frequencies.end()), frequencies.end());
    return frequencies;
}

void add_readings(const Test& test, TestResult& result) {
    for (const Field& field : reading_fields()) {
        const auto found = test.fields.find(field.name);
        if (found == test.fields.end()) continue;
        if (const auto* number = std::get_if<double>(&found->second))
            result.conditions.emplace_back(field.name, *number);
        if (const auto* text = std::get_if<std::string>(&found->second))
            result.conditions.emplace_back(field.name, *text);
    }
}

std::optional<double> output_volts_at_full_scale_sine(const Setup& setup, const capture::Load& load) {
    if (load.driven_by.empty()) return std::nullopt;
    const auto scale = setup.bench->outputs[load.driven_by.front()].volts_at_full_scale;
    if (!scale) return std::nullopt;
    for (const std::size_t index : load.driven_by) {
        if (setup.bench->outputs[index].volts_at_full_scale != scale) return std::nullopt;
    }
    return *scale / std::numbers::sqrt2;
}

}  // namespace assay::cli
