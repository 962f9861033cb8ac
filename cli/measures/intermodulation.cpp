#include "cli/measures/intermodulation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/disturbance.h"
#include "analysis/amplifier/intermodulation.h"
#include "analysis/units.h"
#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/plain_number.h"
#include "cli/measures/recording/held_level.h"
#include "cli/measures/recording/interference.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/repeat_scatter.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/recording/trouble_words.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::intermodulation {

namespace {

using analysis::PairMethod;
using analysis::Product;
using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr int repeats = 4;
constexpr double repeat_s = 1.2;
constexpr double settling_s = 0.1;
constexpr double end_guard_s = 0.01;
constexpr double highest_pair_share_of_rate = 0.48;
constexpr double head_below_db = 10.0;

PairMethod method_of(const Setup& setup) {
    return field_text(*setup.test, "method") == "modulation" ? PairMethod::modulation
                                                             : PairMethod::difference_frequency;
}

capture::SinePair pair_of(const Setup& setup) {
    const bool modulation = method_of(setup) == PairMethod::modulation;
    capture::SinePair pair =
        modulation ? capture::SinePair{60.0, 7000.0, 0.8} : capture::SinePair{19000.0, 20000.0, 0.5};
    if (const auto own = setup.test->numbers("frequencies_hz"); own && own->size() == 2) {
        pair.low_hz = std::min((*own)[0], (*own)[1]);
        pair.high_hz = std::max((*own)[0], (*own)[1]);
    }
    return pair;
}

std::string stem_of(const Setup& setup) {
    return method_of(setup) == PairMethod::modulation ? "modulation_distortion"
                                                      : "difference_frequency_distortion";
}

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    if (setup.test->number("power_w"))
        return refuse("power_w: means nothing for two tones", "give the level as drive_dbfs or drive_volts");
    if (const auto own = setup.test->numbers("frequencies_hz"); own && own->size() != 2)
        return refuse("frequencies_hz: wants two frequencies", "give the lower and the upper one");
    const capture::SinePair pair = pair_of(setup);
    const bool modulation = method_of(setup) == PairMethod::modulation;
    if (pair.high_hz > highest_share_of_rate * setup.tone_rate_hz)
        return refuse(fmt::format("frequencies_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz",
                                  pair.high_hz, setup.tone_rate_hz),
                      fmt::format("stay below {:.6g} Hz, or raise sample_rate_hz",
                                  highest_share_of_rate * setup.tone_rate_hz));
    if (modulation && pair.high_hz < 4.0 * pair.low_hz)
        return refuse("frequencies_hz: the upper tone is to be at least four times the lower",
                      "move them apart, or take the method difference-frequency");
    if (!modulation && (pair.high_hz - pair.low_hz < 20.0 || pair.high_hz > 1.7 * pair.low_hz))
        return refuse("frequencies_hz: the two are to be near each other, 20 Hz apart at least",
                      "take e.g. [19000, 20000], or the method modulation");
    if (!modulation && std::abs(3.0 * pair.low_hz - 2.0 * pair.high_hz) < 20.0)
        return refuse(
            "frequencies_hz: the products of the second and the third order would fall on one another",
            "move one of the two tones by 100 Hz or more");
    return check_level(setup);
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (!takes.empty() || !level) return std::nullopt;
    return capture::make_tone_row(
        {.rate_hz = setup.tone_rate_hz,
         .steps = std::vector<capture::RowStep>(repeats, {pair_of(setup), *level, repeat_s}),
         .head_dbfs = *level - head_below_db,
         .mark_dbfs = *level,
         .code = setup.test->id + "/intermodulation"});
}

/// Mean over the repeats, in power, with the scatter of the mean.
struct Mean {
    std::optional<Product> product{};
    double scatter = 0.0;
};

Mean mean_of(const std::vector<analysis::IntermodulationReading>& readings,
             std::optional<Product> analysis::IntermodulationReading::*which) {
    const auto count = static_cast<double>(readings.size());
    Product mean;
    for (const auto& reading : readings) {
        if (!(reading.*which)) return {};
        mean.ratio += (reading.*which)->ratio / count;
        mean.noise = std::hypot(mean.noise, (reading.*which)->noise / count);
    }
    double square = 0.0;
    for (const auto& reading : readings) square += std::pow((reading.*which)->ratio - mean.ratio, 2.0);
    return {mean, beyond_noise(std::sqrt(square / (count - 1.0) / count), mean.noise, readings.size())};
}

std::optional<Quantity> add_product(const Setup& setup, const capture::Load& load, const std::string& name,
                                    const Mean& mean, Numbers& numbers) {
    if (!mean.product) {
        numbers.add_absent(name, {"outside-band", "a product lies outside of what was recorded",
                                  "record at a higher rate, or move the tones"});
        return std::nullopt;
    }
    const capture::Input& input = setup.bench->inputs[load.plus];
    const double own = input.own_thd_percent.value_or(0.0) / 100.0;
    if (const auto below = below_floor(mean.product->ratio, mean.product->noise, own)) {
        numbers.add_absent(name, *below);
        return std::nullopt;
    }
    const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
    Quantity quantity{100.0 * mean.product->ratio, "%", {}};
    // Noise at one product's frequency is not that at another's.
    add_doubt(quantity, source + name + ":noise", 100.0 * mean.product->noise);
    add_doubt(quantity, source + "repeatability", 100.0 * mean.scatter);
    // What the chain adds to a single tone says how much it may add here, no more.
    if (input.own_thd_percent)
        add_doubt(quantity, "input:" + input.name + ":own-distortion",
                  *input.own_thd_percent / std::numbers::sqrt3);
    numbers.add(name, quantity);
    return quantity;
}

Numbers numbers_of(const Setup& setup, const capture::Load& load,
                   const std::vector<analysis::IntermodulationReading>& readings) {
    Numbers numbers;
    const std::string stem = stem_of(setup);
    const auto second = add_product(setup, load, stem + "_2_percent",
                                    mean_of(readings, &analysis::IntermodulationReading::second), numbers);
    const auto third = add_product(setup, load, stem + "_3_percent",
                                   mean_of(readings, &analysis::IntermodulationReading::third), numbers);
    if (second && third) {
        const double both = std::hypot(second->value, third->value);
        numbers.add(
            stem + "_percent",
            analysis::combine(both, "%", {{&*second, second->value / both}, {&*third, third->value / both}}));
    } else {
        numbers.add_absent(stem + "_percent", {"part-missing", "one of its two parts has no number",
                                               "see the reason beside that part"});
    }
    warn_of_unknown_own_distortion(setup.bench->inputs[load.plus], numbers);
    return numbers;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "intermodulation";
    const auto placed = place_take(setup, takes);
    if (!placed) {
        result.fault = placed.error();
        return result;
    }
    const Take& take = takes.front();
    const auto& pair = std::get<capture::SinePair>(placed->steps.front().law);
    const bool modulation = method_of(setup) == PairMethod::modulation;
    const double ratio = placed->placement.clock_ratio;
    result.conditions.emplace_back("method", field_text(*setup.test, "method"));
    result.conditions.emplace_back("lower_tone_hz", pair.low_hz);
    result.conditions.emplace_back("upper_tone_hz", pair.high_hz);
    result.conditions.emplace_back("amplitude_ratio", pair.low_share / (1.0 - pair.low_share));
    result.conditions.emplace_back(
        "formula",
        std::string(modulation ? "d2 = [U(f2-f1) + U(f2+f1)] / U(f2), d3 = [U(f2-2f1) + U(f2+2f1)] / U(f2)"
                               : "d2 = U(f2-f1) / [U(f1) + U(f2)], d3 = [U(2f1-f2) + U(2f2-f1)] / [U(f1) + "
                                 "U(f2)]"));
    result.conditions.emplace_back("drive_dbfs", placed->steps.front().level_dbfs);
    add_take_conditions(setup, take, placed->placement.start_s, 1e6 * (ratio - 1.0), result);
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        std::vector<analysis::IntermodulationReading> readings;
        // A level that jumps is told as that of a repeat that has moved, where the later ones have.
        std::string lost;
        std::string jumped;
        for (std::size_t step = 0; step < placed->steps.size(); ++step) {
            const double length_s = static_cast<double>(placed->steps[step].frames) / take.tone.rate_hz;
            const double from_s = placed->at_s(step, settling_s);
            const double to_s = placed->at_s(step, length_s - end_guard_s);
            if (const auto trouble =
                    trouble_at(setup, *placed, load, step, placed->at_s(step, 0.0), to_s, true)) {
                result.fault = fault_of(take, load, *trouble);
                return result;
            }
            const std::vector<double> volts = load_volts(setup, *placed, load, from_s, to_s);
            // Blocks that are lost here and given twice there: the marks before and behind would see nothing.
            const double apart_hz = (modulation ? pair.low_hz : pair.high_hz - pair.low_hz) / ratio;
            for (const double tone_hz : {pair.low_hz / ratio, pair.high_hz / ratio}) {
                const auto jump = analysis::disturbance_of_line(volts, placed->rate_hz, tone_hz, apart_hz);
                std::string& words = jump.level ? jumped : lost;
                if (jump.found && words.empty()) words = uneven_words(jump, from_s);
            }
            readings.push_back(analysis::read_pair(volts, placed->rate_hz, pair.low_hz / ratio,
                                                   pair.high_hz / ratio, method_of(setup),
                                                   highest_pair_share_of_rate * placed->rate_hz));
        }
        if (!(readings.front().high_v > 0.0) || !(readings.front().low_v > 0.0)) {
            result.fault = capture::Fault{FaultKind::untrusted_capture,
                                          fmt::format("{}: no signal at {}", file_of(take), load.in_words()),
                                          std::nullopt, "check this load's probe, lead and channel"};
            return result;
        }
        std::vector<double> volts;
        volts.reserve(readings.size());
        for (const analysis::IntermodulationReading& reading : readings)
            volts.push_back(std::hypot(reading.low_v, reading.high_v));
        const std::string moved = level_moved(volts);
        if (const std::string& words = !lost.empty()    ? lost
                                       : !moved.empty() ? moved
                                                        : jumped;
            !words.empty()) {
            result.fault = fault_of(take, load, {.words = words});
            return result;
        }
        Numbers numbers = numbers_of(setup, load, readings);
        const capture::Input& plus = setup.bench->inputs[load.plus];
        for (const capture::RawChannel& raw : placed->raw.channels) {
            if (raw.channel == plus.channel)
                warn_if_not_clean(plus, analysis::floored_decibels(raw.peak, 1e-9), numbers);
        }
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "intermodulation";
    measure.summary = "what two tones make together";
    measure.fields = {
        {.name = "method",
         .type = FieldType::choice,
         .default_text = "modulation",
         .choices = {"modulation", "difference-frequency"},
         .help = "a low tone four times as strong as a high one, or two equal high ones"},
        {.name = "frequencies_hz",
         .type = FieldType::numbers,
         .unit = "Hz",
         .minimum = 20.0,
         .maximum = 40000.0,
         .help = "the two tones; left out: 60 and 7000, or 19000 and 20000"},
    };
    for (const char* stem : {"modulation_distortion", "difference_frequency_distortion"}) {
        const std::string name = stem;
        measure.quantities.push_back(
            {name + "_2_percent", "%", true, "products of second order, their amplitudes added"});
        measure.quantities.push_back(
            {name + "_3_percent", "%", true, "products of third order, their amplitudes added"});
        measure.quantities.push_back({name + "_percent", "%", true, "root of the sum of both squares"});
    }
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::intermodulation
