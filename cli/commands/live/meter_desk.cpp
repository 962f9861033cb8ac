#include "cli/commands/live/meter_desk.h"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>

#include "cli/files/toml/nearest.h"
#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

using capture::Result;

std::string unit_words(const std::string& unit) {
    return unit == "degC" ? "degrees C" : unit;
}

std::string words_of(const Test& test, const AskedReading& reading) {
    const auto set = test.number("supply_set_v");
    if (set && std::string(reading.field) == "supply_idle_v")
        return fmt::format("set the supply to {:.4g} V at the unit's terminals, no signal; the meter reads",
                           *set);
    return reading.words;
}

}  // namespace

Result<std::optional<double>> ask_reading(Questions& questions, const Question& question,
                                          const std::string& unit, double minimum, double maximum,
                                          bool may_skip, const std::function<std::string(double)>& odd) {
    std::optional<double> value;
    std::optional<double> doubted;
    const auto check = [&](const std::string& text) -> std::string {
        value.reset();
        if (may_skip && text == "-") return {};
        value = read_meter_text(text, unit);
        if (!value)
            return fmt::format("{} is no number of {}, like 14.4 or 14,4 {}{}", in_quotes(text),
                               unit_words(unit), unit == "degC" ? "C" : unit, may_skip ? "; - skips it" : "");
        if (*value < minimum || *value > maximum)
            return fmt::format("{:g} {} is outside {:g} to {:g}", *value, unit_words(unit), minimum, maximum);
        const std::string doubt = odd ? odd(*value) : std::string{};
        const bool again = doubted && std::abs(*doubted - *value) < 1e-9;
        doubted = value;
        // An answers file is asked once; the doubt stands with the results.
        if (doubt.empty() || again || questions.answers(question.key)) return {};
        return doubt + "; if it is so, type it again";
    };
    const auto answer = questions.checked(question, check);
    if (!answer) return tl::unexpected<capture::Fault>(answer.error());
    return value;
}

Result<void> ask_readings(Questions& questions, Test& test, ReadingMoment moment) {
    for (const AskedReading& reading : asked_of(test, moment)) {
        const std::string field = reading.field;
        test.fields.erase(field);
        if (!questions.can_ask()) continue;
        const Field* known = nullptr;
        for (const Field& one : reading_fields()) {
            if (one.name == field) known = &one;
        }
        if (known == nullptr) continue;
        const auto value = ask_reading(questions,
                                       {test.id + "-" + field,
                                        fmt::format("Test \"{}\": {}, {}; - skips it", test.id,
                                                    words_of(test, reading), unit_words(reading.unit)),
                                        "-"},
                                       reading.unit, known->minimum, known->maximum, true,
                                       [&](double number) { return oddity_of(test, field, number); });
        if (!value) return tl::unexpected<capture::Fault>(value.error());
        if (*value) test.fields[field] = **value;
    }
    return {};
}

}  // namespace assay::cli
