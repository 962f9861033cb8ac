#include "cli/measures/clipping_power.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/clip_onset.h"
#include "analysis/amplifier/distortion_limit.h"
#include "analysis/amplifier/level_tracking.h"
#include "capture/tone/staircase.h"
#include "cli/measures/channels.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/ceiling.h"
#include "cli/measures/recording/clip_detectors.h"
#include "cli/measures/recording/input_volts.h"
#include "cli/measures/recording/interference.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/level_curve.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/measures/steps/live_staircase.h"
#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::clipping_power {

namespace {

using analysis::Absent;
using analysis::Quantity;

// Where the limit lies is not known beforehand. 0.1 dB keeps the interpolation of 1 % on a hard clip within
// 0.05 % of power (closed form), and the top 12 dB hold the limit of a unit whose gain was set with the
// level-set tone.
struct Stair {
    double below_top_db;
    double step_db;
};
constexpr Stair stairs[] = {{12.0, 0.1}, {24.0, 0.25}, {200.0, 2.0}};

std::vector<double> levels_of(const Setup& setup) {
    const double top = setup.test->number("to_dbfs").value_or(limit_dbfs(setup));
    const double bottom = std::min(field_number(*setup.test, "from_dbfs"), top);
    const auto uniform = setup.test->number("step_db");
    std::vector<double> levels;
    double below = 0.0;
    while (top - below >= bottom - 1e-9) {
        levels.push_back(top - below);
        const Stair* stair = stairs;
        while (below + 1e-9 >= stair->below_top_db) ++stair;
        below += uniform.value_or(stair->step_db);
    }
    std::reverse(levels.begin(), levels.end());
    return levels;
}

capture::Result<void> check(const Setup& setup) {
    if (auto result = check_frequency(setup); !result) return result;
    const double limit = limit_dbfs(setup);
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(capture::FaultKind::bad_input_file, text, mend);
    };
    for (const char* level : {"drive_volts", "drive_dbfs", "power_w"}) {
        if (setup.test->fields.contains(level)) {
            return refuse(fmt::format("{}: clipping-power goes through levels of its own", level),
                          "use from_dbfs and to_dbfs");
        }
    }
    if (setup.test->number("rated_v") && setup.test->number("rated_power_w"))
        return refuse("rated_v: stands beside rated_power_w", "take one of them out");
    const auto top = setup.test->number("to_dbfs");
    if (top && *top > limit + 1e-9) {
        return refuse(
            fmt::format("to_dbfs: {:.2f} dBFS is above the bench's maximum of {:.2f} dBFS", *top, limit),
            "lower it, or raise the output's maximum_volts or maximum_dbfs if the unit bears it");
    }
    if (field_number(*setup.test, "from_dbfs") > top.value_or(limit) - 1.0) {
        return refuse(fmt::format("from_dbfs: {:.2f} dBFS leaves less than 1 dB below the top of {:.2f} dBFS",
                                  field_number(*setup.test, "from_dbfs"), top.value_or(limit)),
                      "start lower: the staircase has to begin well below clipping");
    }
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (!std::isfinite(load.resistance_ohm) && !load.bare_input)
            return refuse(
                fmt::format("loads: load \"{}\" has no resistance, so there is no power", load.name),
                "name a load with a resistance");
    }
    if (levels_of(setup).size() > 2000)
        return refuse("step_db: the staircase has more than 2000 steps",
                      "take larger steps or a higher from_dbfs");
    return {};
}

capture::Tone tone_of(const Setup& setup) {
    return capture::make_staircase({.rate_hz = setup.tone_rate_hz,
                                    .frequency_hz = field_number(*setup.test, "frequency_hz"),
                                    .levels_dbfs = levels_of(setup),
                                    .step_s = 0.3,
                                    .code = setup.test->id + "/clipping-power"});
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (setup.live) return next_live_tone(setup, takes, live_plan(setup));
    if (!takes.empty()) return std::nullopt;
    return tone_of(setup);
}

/// Drive at which clipping starts, for whichever polarity starts first, dBFS; far above all where neither
/// does.
double clip_drive(const std::vector<analysis::StepReading>& readings) {
    double drive = 1e9;
    for (const auto polarity : {analysis::Polarity::positive, analysis::Polarity::negative}) {
        const auto onset = analysis::find_clip_onset(readings, polarity);
        if (const auto* found = std::get_if<analysis::ClipOnset>(&onset))
            drive = std::min(drive, found->drive_dbfs);
    }
    return drive;
}

struct LoadContext {
    const Setup& setup;
    const capture::Load& load;
    const TrustedSteps& steps;
    std::string source;  // "test:<id>:<load>:"
};

double frequency_of(const LoadContext& context) {
    return field_number(*context.setup.test, "frequency_hz");
}

void add_own_distortion(const LoadContext& context, const analysis::LimitCrossing& crossing, double limit,
                        Quantity& voltage, Numbers& numbers) {
    const capture::Input& input = context.setup.bench->inputs[context.load.plus];
    if (!input.own_thd_percent) return;
    const double own = *input.own_thd_percent / 100.0;
    // True harmonics lie between sum and difference of measured and own: limits, so rectangular.
    add_doubt(voltage, "input:" + input.name + ":own-distortion",
              crossing.volts_per_distortion * own / std::numbers::sqrt3);
    if (3.0 * own > limit) {
        numbers.warn("limit-near-own-distortion",
                     fmt::format("the chain's own distortion of {:.3g} % is near the limit of {:.3g} %",
                                 100.0 * own, 100.0 * limit),
                     "measure at a higher limit or with a cleaner recorder");
    }
}

/// Volts at one limit, and power where there is a load. No power where the limit is not reached, and none
/// where it is lost to a step that cannot be trusted (then `lost` says so).
std::optional<Quantity> add_limit(const LoadContext& context, double limit_percent,
                                  analysis::DistortionKind kind, Numbers& numbers, std::string& lost,
                                  double& needed_drive) {
    const std::string name = limit_in_name(limit_percent);
    const std::string power_name = "power_at_" + name + "_percent_w";
    const std::string voltage_name = "voltage_at_" + name + "_percent_v";
    const auto found = analysis::find_limit_crossing(context.steps.readings, limit_percent / 100.0, kind);
    if (const auto* absent = std::get_if<Absent>(&found)) {
        lost = context.steps.trouble_above();
        numbers.add_absent(context.load.bare_input ? voltage_name : power_name, *absent);
        if (!context.load.bare_input) numbers.absent.emplace_back(voltage_name, *absent);
        return std::nullopt;
    }
    const auto& crossing = std::get<analysis::LimitCrossing>(found);
    needed_drive = std::max(needed_drive, context.steps.readings[crossing.above].level_dbfs);
    lost = context.steps.trouble_between(crossing.below, crossing.above);
    Quantity voltage = load_voltage(context.setup, context.load, crossing.total_v,
                                    context.steps.plus_shares[crossing.above], frequency_of(context));
    add_doubt(voltage, context.source + "noise", crossing.noise_doubt_v);
    add_doubt(voltage, context.source + "interpolation", crossing.interpolation_doubt_v);
    add_own_distortion(context, crossing, limit_percent / 100.0, voltage, numbers);
    if (context.load.bare_input) {
        numbers.add(voltage_name, voltage);
        return std::nullopt;
    }
    Quantity power = power_at(context.load, voltage, frequency_of(context));
    numbers.add(power_name, power);
    numbers.add(voltage_name, voltage);
    return power;
}

/// The step that the highest limit rests on; nothing where no limit was reached.
const analysis::StepReading* loudest_needed(const TrustedSteps& steps, double needed_drive) {
    for (const analysis::StepReading& reading : steps.readings) {
        if (std::abs(reading.level_dbfs - needed_drive) < 1e-9) return &reading;
    }
    return nullptr;
}

void add_onset(const LoadContext& context, Numbers& numbers) {
    std::optional<double> lowest_total;
    double lowest_drive = 1e9;
    std::optional<double> ceilings[2];
    int at = 0;
    for (const auto polarity : {analysis::Polarity::positive, analysis::Polarity::negative}) {
        const bool positive = polarity == analysis::Polarity::positive;
        const std::string name = positive ? "clip_onset_positive_v" : "clip_onset_negative_v";
        const auto onset = analysis::find_clip_onset(context.steps.readings, polarity);
        if (const auto* absent = std::get_if<Absent>(&onset)) {
            numbers.add_absent(name, *absent);
        } else {
            const auto& found = std::get<analysis::ClipOnset>(onset);
            numbers.add(name, load_voltage(context.setup, context.load, found.peak_v,
                                           context.steps.plus_shares.back(), frequency_of(context)));
            ceilings[at] = found.peak_v;
            if (found.drive_dbfs < lowest_drive) {
                lowest_drive = found.drive_dbfs;
                lowest_total = found.total_v;
            }
        }
        ++at;
    }
    if (context.load.bare_input) {
        // The halves say it in volts.
    } else if (lowest_total) {
        const Quantity voltage = load_voltage(context.setup, context.load, *lowest_total,
                                              context.steps.plus_shares.back(), frequency_of(context));
        numbers.add("clip_onset_w", power_at(context.load, voltage, frequency_of(context)));
    } else {
        numbers.add_absent("clip_onset_w", {"onset-not-reached", "no flattening up to the loudest step",
                                            "let the tone go louder if the onset of clipping is wanted"});
    }
    constexpr double uneven = 0.05;
    if (ceilings[0] && ceilings[1] && std::abs(*ceilings[0] / *ceilings[1] - 1.0) > uneven) {
        numbers.warn(
            "uneven-rails",
            fmt::format(
                "the positive half clips at {:.3g} V, the negative at {:.3g} V: the pair of rails is uneven",
                *ceilings[0], *ceilings[1]),
            "look at the supply's rails, the bias and the output devices of the weaker half");
    } else if (ceilings[0].has_value() != ceilings[1].has_value()) {
        numbers.warn("uneven-rails",
                     fmt::format("only the {} half of the wave clips", ceilings[0] ? "positive" : "negative"),
                     "look at the supply's rails, the bias and the output devices of that half");
    }
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "clipping-power";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const Take& take = takes.front();
    auto live = read_takes(setup, takes);
    if (!live) {
        result.fault = live.error();
        return result;
    }
    const StaircaseReading* read = &live->steps;
    const std::vector<double> limits = field_numbers(*setup.test, "distortion_limits_percent");
    const auto kind = field_text(*setup.test, "limit_on") == "thd" ? analysis::DistortionKind::thd
                                                                   : analysis::DistortionKind::thd_plus_noise;
    add_conditions(setup, take, *read, result);
    result.conditions.emplace_back("limit_on", field_text(*setup.test, "limit_on"));
    add_search(*live, takes, result);
    add_clip_detectors(setup, takes, result);

    std::vector<std::vector<Quantity>> powers(limits.size());
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const TrustedSteps steps = trusted_steps(read->loads[l]);
        const LoadContext context{setup, load, steps, "test:" + setup.test->id + ":" + load.name + ":"};
        Numbers numbers;
        if (const auto stray = analysis::levels_do_not_track(steps.readings, clip_drive(steps.readings))) {
            result.fault = untrusted_load(take, load, steps, stray->text);
            result.fault->mend = stray->advice;
            return result;
        }
        double needed_drive = -1e9;
        std::string lost;
        for (std::size_t k = 0; k < limits.size(); ++k) {
            std::string trouble;
            const auto power = add_limit(context, limits[k], kind, numbers, trouble, needed_drive);
            if (power) powers[k].push_back(*power);
            if (lost.empty()) lost = trouble;
        }
        if (!lost.empty()) {
            result.fault = untrusted_load(take, load, steps, lost);
            return result;
        }
        if (const auto* step = loudest_needed(steps, needed_drive)) warn_of_interference(*step, numbers);
        add_onset(context, numbers);
        add_gain(setup, load, *read, steps, numbers);
        add_sensitivity(setup, load, *read, steps, numbers);
        for (const std::string& trouble : steps.troubles)
            numbers.warn(steps.trouble_code(), trouble + "; no requested number rests on it",
                         "no need to repeat the test for it");
        if (const auto crossover = analysis::crossover_distortion(steps.readings)) {
            numbers.warn("crossover-distortion", *crossover,
                         "check the output stage's bias; a source of few bits can look alike");
        }
        warn_of_ceiling(setup, l, read->loads, needed_drive, numbers);
        numbers.curves.emplace_back("level", level_curve(load, steps));
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    add_steady_channels(setup, *read, result);
    const bool watts = !setup.bench->loads[setup.test->loads.front()].bare_input;
    for (std::size_t k = 0; watts && k < limits.size(); ++k) {
        const std::string name = "total_power_at_" + limit_in_name(limits[k]) + "_percent_w";
        if (powers[k].size() == setup.test->loads.size()) {
            result.whole.add(name, analysis::sum(powers[k]));
        } else {
            result.whole.add_absent(name, {"limit-not-reached", "not every load reached the limit",
                                           "see the warnings of the loads"});
        }
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "clipping-power";
    measure.summary = "output power at distortion limits, and where clipping starts, from rising levels";
    measure.fields = {
        {.name = "distortion_limits_percent",
         .type = FieldType::numbers,
         .unit = "%",
         .default_text = "[1, 10]",
         .minimum = 0.001,
         .maximum = 40.0,
         .help = "limits at which the power is given"},
        {.name = "limit_on",
         .type = FieldType::choice,
         .default_text = "thd",
         .choices = {"thd", "thd+n"},
         .help = "what the limits are of: harmonics alone, or harmonics and noise"},
        {.name = "from_dbfs",
         .type = FieldType::number,
         .unit = "dBFS",
         .default_text = "-50",
         .minimum = -90.0,
         .maximum = -1.0,
         .help = "level of the first step"},
        {.name = "to_dbfs",
         .type = FieldType::number,
         .unit = "dBFS",
         .minimum = -60.0,
         .maximum = 0.0,
         .help = "level of the last step; left out: the bench's limit"},
        {.name = "step_db",
         .type = FieldType::number,
         .unit = "dB",
         .minimum = 0.02,
         .maximum = 6.0,
         .help = "height of all steps; left out: 0.1 dB over the top 12 dB, 0.25 dB over the next 12, 2 dB "
                 "below"},
        {.name = "rated_power_w",
         .type = FieldType::number,
         .unit = "W",
         .minimum = 1e-3,
         .maximum = 1e5,
         .help = "rated power of each load, for the input volts that it needs; left out: that of [rating] or "
                 "of this test's claims"},
        {.name = "rated_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 1e-6,
         .maximum = 1e4,
         .help = "the same as volts RMS, e.g. the rated output of a line unit"},
    };
    measure.quantities = {
        {"power_at_{limit}_percent_w", "W", true, "power into the load when distortion reaches the limit"},
        {"voltage_at_{limit}_percent_v", "V", true, "volts RMS across the load at that point"},
        {"clip_onset_positive_v", "V", true,
         "peak volts at which the upper half of the wave starts to flatten"},
        {"clip_onset_negative_v", "V", true,
         "peak volts at which the lower half of the wave starts to flatten"},
        {"clip_onset_w", "W", true,
         "power of the whole wave when its first half starts to flatten: there, half a decibel more drive "
         "gives less than a quarter of a decibel more peak"},
        {"gain_db", "dB", true, "load volts over the volts at the unit's input, well below clipping"},
        {"input_sensitivity_v", "V", true, "volts RMS at the unit's input that bring the rated output"},
        {"total_power_at_{limit}_percent_w", "W", false, "sum over all loads, each at its own limit"},
        {"channel_balance_db", "dB", false,
         "how much louder the loudest channel is than the faintest, at equal input, well below clipping"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::clipping_power
