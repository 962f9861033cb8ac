#include "cli/measures/recording/input_volts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/level_tracking.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using analysis::Quantity;

double frequency_of(const Setup& setup) {
    return field_number(*setup.test, "frequency_hz");
}

std::string source_of(const Setup& setup, const capture::Load& load) {
    return "test:" + setup.test->id + ":" + load.name + ":";
}

/// Doubts of a ratio to the input's volts, in the quantity's unit for each relative part.
void take_off_scale(const InputVolts& input, double per_relative, Quantity& quantity) {
    for (const capture::RelativeDoubt& doubt : input.scale_doubts)
        quantity.contributions[doubt.source_id] -= per_relative * doubt.relative;
}

/// RMS volts across the load at the rated output, with the power's share of the load's doubts; nothing where
/// the test states no rated output.
std::optional<Quantity> rated_volts(const Setup& setup, const capture::Load& load) {
    if (const auto volts = setup.test->number("rated_v")) return analysis::exact(*volts, "V");
    const auto power_w = setup.test->number("rated_power_w");
    if (!power_w || load.bare_input) return std::nullopt;
    Quantity volts = analysis::exact(volts_for_power(load, *power_w, frequency_of(setup)), "V");
    for (const capture::RelativeDoubt& doubt : load.resistance_doubts)
        volts.contributions[doubt.source_id] += 0.5 * volts.value * doubt.relative;
    return volts;
}

struct Passage {
    std::size_t below = 0;  // readings on both sides of the rated volts
    double part = 0.0;      // of the way up in the logarithm of the volts
};

std::variant<Passage, Absent> passage(const TrustedSteps& steps, double wanted_v) {
    const auto& readings = steps.readings;
    double loudest_v = 0.0;
    for (std::size_t k = 0; k < readings.size(); ++k) {
        loudest_v = std::max(loudest_v, readings[k].total_v);
        if (k + 1 == readings.size() || !(readings[k].total_v < wanted_v) ||
            readings[k + 1].total_v < wanted_v)
            continue;
        if (const std::string trouble = steps.trouble_between(k, k + 1); !trouble.empty())
            return Absent{"steps-lost", "the step at the rated output cannot be trusted: " + trouble,
                          "run the test again"};
        return Passage{k, std::log(wanted_v / readings[k].total_v) /
                              std::log(readings[k + 1].total_v / readings[k].total_v)};
    }
    if (loudest_v < wanted_v)
        return Absent{"rated-output-not-reached",
                      fmt::format("the rated output is {:.4g} V across this load, and the loudest step that "
                                  "can be trusted gave {:.4g} V",
                                  wanted_v, loudest_v),
                      "let the tone go louder if the unit can do more"};
    return Absent{"rated-output-below-range",
                  fmt::format("the faintest step is already above the rated {:.4g} V", wanted_v),
                  "start lower (from_dbfs), or turn the unit's gain down"};
}

/// ln of the input's volts for one of the output's, between a reading and the next; nothing at the ends.
std::optional<double> slope_after(const InputVolts& input, const TrustedSteps& steps, std::size_t k) {
    if (k + 1 >= steps.readings.size() || !input.at_reading[k] || !input.at_reading[k + 1])
        return std::nullopt;
    const double rise = std::log(steps.readings[k + 1].total_v / steps.readings[k].total_v);
    if (!(rise > 0.0)) return std::nullopt;
    return std::log(*input.at_reading[k + 1] / *input.at_reading[k]) / rise;
}

/// By how much a curve through both neighbours leaves the straight line in the middle of an interval, times
/// four, relative: half the change of slope over its width.
double bend_within(const InputVolts& input, const TrustedSteps& steps, std::size_t k, double slope) {
    double change = 0.0;
    if (k > 0) change = std::abs(slope - slope_after(input, steps, k - 1).value_or(slope));
    change = std::max(change, std::abs(slope - slope_after(input, steps, k + 1).value_or(slope)));
    return 0.5 * change * std::log(steps.readings[k + 1].total_v / steps.readings[k].total_v);
}

}  // namespace

std::variant<InputVolts, Absent> input_volts(const Setup& setup, const capture::Load& load,
                                             const StaircaseReading& reading, const TrustedSteps& steps) {
    InputVolts input;
    if (setup.test->reference) {
        input.scale_doubts = setup.bench->inputs[*setup.test->reference].scale_doubts;
        bool heard = false;
        for (const std::size_t position : steps.positions) {
            const LoadStep& own = reading.reference[position];
            const bool good = own.state == StepState::sound &&
                              own.reading.fundamental_v > signal_to_doubt * own.reading.fundamental_doubt_v;
            heard = heard || good;
            input.at_reading.push_back(good ? std::optional(own.reading.fundamental_v) : std::nullopt);
        }
        if (heard) return input;
        return Absent{"reference-silent", "the tone is not heard at the reference input",
                      "put the reference on the unit's own input, and look at its channel number"};
    }
    const auto output_v = output_volts_at_full_scale_sine(setup, load);
    if (!output_v)
        return Absent{"gain-unknown", "the volts at the unit's input are not known",
                      "give volts_at_full_scale of the output, or an input of role \"reference\""};
    for (const analysis::StepReading& one : steps.readings)
        input.at_reading.emplace_back(*output_v * analysis::ratio_from_decibels(one.level_dbfs));
    return input;
}

void add_gain(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
              const TrustedSteps& steps, Numbers& numbers) {
    const auto found = input_volts(setup, load, reading, steps);
    if (const auto* absent = std::get_if<Absent>(&found)) {
        numbers.add_absent("gain_db", *absent);
        return;
    }
    const auto& input = std::get<InputVolts>(found);
    // Volts at the input in the place of the level: the gain is then volts for a volt.
    std::vector<analysis::StepReading> by_input;
    for (std::size_t k = 0; k < steps.readings.size(); ++k) {
        if (!input.at_reading[k]) continue;
        by_input.push_back(steps.readings[k]);
        by_input.back().level_dbfs = analysis::decibels(*input.at_reading[k]);
    }
    const auto gain = analysis::small_signal_gain(by_input);
    if (!gain.found) {
        numbers.add_absent("gain_db", {"too-noisy", "no step stands clear of noise and distortion",
                                       "lower the noise or start the tone lower"});
        return;
    }
    const Quantity voltage =
        load_voltage(setup, load, gain.volts_per_full_scale, steps.plus_shares.front(), frequency_of(setup));
    Quantity quantity = analysis::combine(analysis::decibels(gain.volts_per_full_scale), "dB",
                                          {{&voltage, db_per_relative / voltage.value}});
    take_off_scale(input, db_per_relative, quantity);
    add_doubt(quantity, source_of(setup, load) + "noise", db_per_relative * gain.doubt);
    numbers.add("gain_db", quantity);
}

void add_sensitivity(const Setup& setup, const capture::Load& load, const StaircaseReading& reading,
                     const TrustedSteps& steps, Numbers& numbers) {
    const char* const name = "input_sensitivity_v";
    const auto rated = rated_volts(setup, load);
    if (!rated) return;
    const auto found = input_volts(setup, load, reading, steps);
    if (const auto* absent = std::get_if<Absent>(&found)) {
        numbers.add_absent(name, *absent);
        return;
    }
    const auto& input = std::get<InputVolts>(found);
    const auto where = passage(steps, rated->value);
    if (const auto* absent = std::get_if<Absent>(&where)) {
        numbers.add_absent(name, *absent);
        return;
    }
    const auto [k, part] = std::get<Passage>(where);
    if (!input.at_reading[k] || !input.at_reading[k + 1]) {
        numbers.add_absent(name, {"reference-silent", "the reference input cannot be trusted at that step",
                                  "mend the reference's level or lead, then run the test again"});
        return;
    }
    const double below_v = *input.at_reading[k];
    const double above_v = *input.at_reading[k + 1];
    const double volts = below_v * std::pow(above_v / below_v, part);
    // Near its limit a unit needs far more at its input for a little more at its output.
    const double slope =
        std::log(above_v / below_v) / std::log(steps.readings[k + 1].total_v / steps.readings[k].total_v);
    const Quantity seen =
        load_voltage(setup, load, rated->value, steps.plus_shares[k + 1], frequency_of(setup));
    const double per_volt = slope * volts / rated->value;
    Quantity quantity = analysis::combine(volts, "V", {{&seen, -per_volt}, {&*rated, per_volt}});
    take_off_scale(input, -volts, quantity);
    add_doubt(quantity, source_of(setup, load) + "noise",
              per_volt * steps.readings[k + 1].fundamental_doubt_v);
    add_doubt(quantity, source_of(setup, load) + "interpolation",
              volts * bend_within(input, steps, k, slope) * part * (1.0 - part) / std::numbers::sqrt3);
    numbers.add(name, quantity);
}

}  // namespace assay::cli
