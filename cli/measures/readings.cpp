#include "cli/measures/readings.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "cli/files/utf8.h"
#include "cli/measures/fields.h"
#include "cli/measures/steps/limit_name.h"

namespace assay::cli {

namespace {

constexpr double set_tolerance = 0.05;  // of the volts asked for: the judgement of claims allows the same
constexpr double most_dc_mv = 100.0;
constexpr double hot_c = 100.0;
constexpr double least_share_loaded = 0.6;

struct UnitWord {
    const char* unit;  // of the field
    const char* word;  // as typed, in small letters
    double factor;
    double offset;
};

constexpr std::array<UnitWord, 26> unit_words{{
    {"V", "", 1.0, 0.0},
    {"V", "v", 1.0, 0.0},
    {"V", "volt", 1.0, 0.0},
    {"V", "volts", 1.0, 0.0},
    {"V", "vdc", 1.0, 0.0},
    {"V", "v dc", 1.0, 0.0},
    {"V", "mv", 1e-3, 0.0},
    {"A", "", 1.0, 0.0},
    {"A", "a", 1.0, 0.0},
    {"A", "amp", 1.0, 0.0},
    {"A", "amps", 1.0, 0.0},
    {"A", "ampere", 1.0, 0.0},
    {"A", "amperes", 1.0, 0.0},
    {"A", "ma", 1e-3, 0.0},
    {"mV", "", 1.0, 0.0},
    {"mV", "mv", 1.0, 0.0},
    {"mV", "v", 1e3, 0.0},
    {"mV", "millivolt", 1.0, 0.0},
    {"mV", "millivolts", 1.0, 0.0},
    {"degC", "", 1.0, 0.0},
    {"degC", "c", 1.0, 0.0},
    {"degC", "degc", 1.0, 0.0},
    {"degC", "celsius", 1.0, 0.0},
    {"degC", "deg c", 1.0, 0.0},
    {"degC", "f", 5.0 / 9.0, -32.0},
    {"degC", "fahrenheit", 5.0 / 9.0, -32.0},
}};

std::string replaced(const std::string& text, std::string_view what, const char* by) {
    std::string result;
    std::size_t from = 0;
    for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, from)) {
        result += text.substr(from, at - from);
        result += by;
        from = at + what.size();
    }
    return result + text.substr(from);
}

/// The limit of "voltage_at_0_1_percent_v", percent.
std::optional<double> limit_of(const std::string& quantity) {
    return limit_value(limit_in(quantity, "voltage_at_", "_percent_v"));
}

/// The limit at which the loaded readings are taken, of those that some load reached.
std::optional<double> limit_to_read_at(const Test& test, const TestResult& result) {
    const double wanted = test.number("supply_read_at_percent").value_or(1.0);
    std::optional<double> lowest;
    for (const auto& [load, numbers] : result.loads) {
        for (const auto& [name, quantity] : numbers.quantities) {
            const auto limit = limit_of(name);
            if (!limit) continue;
            if (std::abs(*limit - wanted) < 1e-9) return limit;
            lowest = std::min(lowest.value_or(*limit), *limit);
        }
    }
    return lowest;
}

/// Drive at which a load first reaches so many volts.
std::optional<double> drive_for(const Numbers& numbers, double volts) {
    for (const auto& [name, curve] : numbers.curves) {
        if (name != "level") continue;
        const auto* drive = curve.find("drive_dbfs");
        const auto* voltage = curve.find("voltage_v");
        if (drive == nullptr || voltage == nullptr) return std::nullopt;
        for (std::size_t k = 1; k < drive->size() && k < voltage->size(); ++k) {
            const double low = (*voltage)[k - 1];
            const double high = (*voltage)[k];
            if (!(low < volts && volts <= high)) continue;
            const double share = (volts - low) / (high - low);
            return (*drive)[k - 1] + share * ((*drive)[k] - (*drive)[k - 1]);
        }
    }
    return std::nullopt;
}

}  // namespace

const std::vector<AskedReading>& askable_readings() {
    static const std::vector<AskedReading> readings{
        {"supply_idle_v", "V", ReadingMoment::before, "supply at the unit's terminals, no signal"},
        {"supply_idle_current_a", "A", ReadingMoment::before, "supply current, no signal"},
        {"ambient_c", "degC", ReadingMoment::before, "temperature of the room"},
        {"supply_loaded_v", "V", ReadingMoment::loaded,
         "supply at the unit's terminals, while the tone sounded"},
        {"supply_current_a", "A", ReadingMoment::loaded, "supply current, while the tone sounded"},
        {"dc_offset_mv", "mV", ReadingMoment::after,
         "DC across the load, no signal (the most of all channels)"},
        {"case_temperature_c", "degC", ReadingMoment::after, "temperature of the unit's case"},
    };
    return readings;
}

std::vector<AskedReading> asked_of(const Test& test, ReadingMoment moment) {
    const std::vector<std::string> asked = test.names("ask");
    std::vector<AskedReading> found;
    for (const AskedReading& reading : askable_readings()) {
        const std::string field = reading.field;
        const bool set = field == "supply_idle_v" && test.number("supply_set_v").has_value();
        const bool named = std::find(asked.begin(), asked.end(), field) != asked.end();
        if (reading.moment == moment && (set || named)) found.push_back(reading);
    }
    return found;
}

bool has_loaded_moment(const std::string& measure) {
    return measure == "clipping-power" || measure == "distortion";
}

std::optional<double> read_meter_text(std::string_view text, std::string_view unit) {
    std::string plain = replaced(std::string(text), "\u2212", "-");
    for (const char* sign : {"\u00b0", "\u00ba"}) plain = replaced(plain, sign, " ");
    std::replace(plain.begin(), plain.end(), ',', '.');
    plain = std::string(trimmed(lower_case(plain)));
    if (plain.starts_with('+')) plain.erase(0, 1);
    double value = 0.0;
    const char* const end_of_text = plain.data() + plain.size();
    const auto [end, error] = std::from_chars(plain.data(), end_of_text, value, std::chars_format::fixed);
    if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
    const std::string_view word = trimmed(std::string_view(end, static_cast<std::size_t>(end_of_text - end)));
    for (const UnitWord& known : unit_words) {
        if (known.unit == unit && known.word == word) return (value + known.offset) * known.factor;
    }
    return std::nullopt;
}

std::string oddity_of(const Test& test, const std::string& field, double value) {
    const auto idle_v = test.number("supply_idle_v");
    if (field == "supply_idle_v") {
        const auto set = test.number("supply_set_v");
        if (set && std::abs(value / *set - 1.0) > set_tolerance)
            return fmt::format(
                "{:.4g} V is more than 5 % away from the {:.4g} V that the supply is to be set to", value,
                *set);
    } else if (field == "supply_loaded_v" && idle_v) {
        if (value > *idle_v * 1.005 + 0.02)
            return fmt::format("{:.4g} V under load is more than the {:.4g} V without", value, *idle_v);
        if (value < least_share_loaded * *idle_v)
            return fmt::format(
                "{:.4g} V under load is less than 60 % of the {:.4g} V without: a thin or loose "
                "supply lead?",
                value, *idle_v);
    } else if (field == "supply_current_a") {
        const auto idle_a = test.number("supply_idle_current_a");
        if (idle_a && value < *idle_a)
            return fmt::format("{:.4g} A under load is less than the {:.4g} A without", value, *idle_a);
    } else if (field == "dc_offset_mv") {
        if (std::abs(value) > most_dc_mv)
            return fmt::format("{:.4g} mV of DC across the load is more than {:.0f} mV", value, most_dc_mv);
    } else if (field == "case_temperature_c") {
        const auto room = test.number("ambient_c");
        if (value > hot_c) return fmt::format("{:.4g} degrees C is more than a case should reach", value);
        if (room && value < *room - 3.0)
            return fmt::format("{:.4g} degrees C is colder than the room ({:.4g})", value, *room);
    }
    return {};
}

void note_readings(const Test& test, TestResult& result) {
    for (const AskedReading& reading : askable_readings()) {
        const auto value = test.number(reading.field);
        if (value) {
            const std::string odd = oddity_of(test, reading.field, *value);
            if (!odd.empty())
                result.whole.warn("odd-reading", std::string(reading.field) + ": " + odd,
                                  std::string(reading.field) == "dc_offset_mv"
                                      ? "look at the output stage before a loudspeaker is connected"
                                      : "read the meter again, at the unit's own terminals");
            continue;
        }
        const auto asked = asked_of(test, reading.moment);
        const bool wanted = std::any_of(asked.begin(), asked.end(), [&](const AskedReading& one) {
            return std::string_view(one.field) == reading.field;
        });
        if (wanted)
            result.whole.warn("reading-not-given",
                              fmt::format("{} was asked for and not given", reading.field),
                              "what rests on it is not said; read the meter at the next run");
    }
}

std::optional<SteadyTone> tone_for_loaded(const Setup& setup, const std::vector<Take>& takes,
                                          const TestResult& result) {
    const Test& test = *setup.test;
    if (takes.empty() || !has_loaded_moment(test.measure)) return std::nullopt;
    SteadyTone tone;
    tone.frequency_hz = field_number(test, "frequency_hz");
    if (test.measure == "distortion") {
        tone.level_dbfs = takes.front().tone.peak_dbfs();
        return tone;
    }
    const auto limit = limit_to_read_at(test, result);
    if (!limit) return std::nullopt;
    std::optional<double> level;
    for (const auto& [load, numbers] : result.loads) {
        for (const auto& [name, quantity] : numbers.quantities) {
            const auto own = limit_of(name);
            if (!own || std::abs(*own - *limit) > 1e-9) continue;
            const auto drive = drive_for(numbers, quantity.value);
            if (drive) level = std::min(level.value_or(*drive), *drive);
        }
    }
    if (!level) return std::nullopt;
    tone.level_dbfs = *level;
    return tone;
}

}  // namespace assay::cli
