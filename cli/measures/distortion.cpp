#include "cli/measures/distortion.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "analysis/units.h"
#include "capture/tone/staircase.h"
#include "cli/measures/channels.h"
#include "cli/measures/fields.h"
#include "cli/measures/plain_number.h"
#include "cli/measures/recording/held_level.h"
#include "cli/measures/recording/interference.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/distortion_figures.h"
#include "cli/measures/steps/level_curve.h"
#include "cli/measures/steps/staircase_reading.h"
#include "cli/measures/steps/step_trouble.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::distortion {

namespace {

using analysis::Absent;
using analysis::Quantity;

constexpr int repeats = 5;  // steps of one level: their scatter is part of the uncertainty
constexpr double repeat_s = 1.2;
constexpr int search_steps = 80;  // below the bench's limit, where only the power is known
constexpr double search_step_db = 0.5;
constexpr int quiet_repeats = 2;

capture::Result<void> check(const Setup& setup) {
    if (auto result = check_frequency(setup); !result) return result;
    if (auto result = check_power(setup); !result) return result;
    return check_level(setup);
}

capture::Tone staircase_of(const Setup& setup, const std::vector<double>& levels_dbfs, double step_s) {
    return capture::make_staircase({.rate_hz = setup.tone_rate_hz,
                                    .frequency_hz = field_number(*setup.test, "frequency_hz"),
                                    .levels_dbfs = levels_dbfs,
                                    .step_s = step_s,
                                    .code = setup.test->id + "/distortion"});
}

/// A live take at one level: how it came out at the load that is nearest to the power asked for, so that no
/// load gets more.
struct Heard {
    double level_dbfs = 0.0;
    double total_v = 0.0;
    double wanted_v = 0.0;
    bool quiet = false;  // it only tells the gain
};

std::optional<Heard> heard_in(const Setup& setup, const Take& take) {
    const auto read = read_staircase(setup, take);
    if (!read) return std::nullopt;
    Heard heard;
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const TrustedSteps steps = trusted_steps(read->loads[l]);
        if (steps.readings.empty() || !steps.troubles.empty()) return std::nullopt;
        const double wanted_v =
            volts_for_power(setup.bench->loads[setup.test->loads[l]], *setup.test->number("power_w"),
                            field_number(*setup.test, "frequency_hz"));
        const bool quiet = read->loads[l].size() < static_cast<std::size_t>(repeats);
        // Hum and noise are much of a quiet tone's whole, and none of its gain.
        const double total_v =
            quiet ? steps.readings.back().fundamental_v : figures_at_level(steps).total_v.value;
        if (heard.wanted_v > 0.0 && total_v / wanted_v < heard.total_v / heard.wanted_v) continue;
        heard = {steps.readings.back().level_dbfs, total_v, wanted_v, quiet};
    }
    return heard;
}

/// Live: a quiet take first, then the level that its gain tells; once more where the gain was not the same up
/// there.
std::optional<capture::Tone> next_live(const Setup& setup, std::span<const Take> takes) {
    if (takes.empty()) return staircase_of(setup, std::vector<double>(quiet_repeats, quiet_dbfs(setup)), 0.4);
    const auto heard = heard_in(setup, takes.back());
    if (!heard || takes.size() >= most_takes_at_power) return std::nullopt;
    const double off_db = analysis::decibels(heard->wanted_v / heard->total_v);
    if (!heard->quiet && !worth_correcting(off_db)) return std::nullopt;
    const auto level = level_by_gain(setup, heard->level_dbfs, heard->total_v, heard->wanted_v);
    if (!std::holds_alternative<double>(level)) return std::nullopt;
    return staircase_of(setup, std::vector<double>(repeats, std::get<double>(level)), repeat_s);
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (!level && setup.live) return next_live(setup, takes);
    if (!takes.empty()) return std::nullopt;
    if (level) return staircase_of(setup, std::vector<double>(repeats, *level), repeat_s);
    // The gain is not known, so the tone goes through a staircase and the result is read at the asked power.
    std::vector<double> levels;
    const double top = limit_dbfs(setup);
    for (int step = search_steps; step >= 0; --step) levels.push_back(top - step * search_step_db);
    return staircase_of(setup, levels, 0.4);
}

void add_ratio(Numbers& numbers, const std::string& name, const Figure& figure, const std::string& source,
               double own, const std::string& own_source) {
    if (const auto below = below_floor(figure.value, figure.noise, own)) {
        numbers.add_absent(name, *below);
        return;
    }
    Quantity quantity{100.0 * figure.value, "%", {}};
    add_doubt(quantity, source + "noise", 100.0 * figure.noise);
    add_doubt(quantity, source + "repeatability", 100.0 * figure.scatter);
    if (own > 0.0) add_doubt(quantity, own_source, 100.0 * own / std::numbers::sqrt3);
    numbers.add(name, quantity);
}

/// The harmonics as a curve: those that have a number, and for all the floor below which none has one.
analysis::Curve harmonics_curve(const Numbers& numbers, const DistortionFigures& figures, double own,
                                double frequency_hz) {
    analysis::Curve curve{{{"order"},
                           {"frequency_hz"},
                           {"level_percent"},
                           {"level_expanded_uncertainty_percent"},
                           {"floor_percent"}}};
    constexpr double none = std::numeric_limits<double>::quiet_NaN();
    for (std::size_t i = 0; i < figures.harmonics.size(); ++i) {
        const double order = static_cast<double>(i) + 2.0;
        const Quantity* level = numbers.find(fmt::format("harmonic_{}_percent", i + 2));
        const std::array<double, 5> row{order, order * frequency_hz, level != nullptr ? level->value : none,
                                        level != nullptr ? level->expanded_uncertainty() : none,
                                        100.0 * times_floor * std::max(own, figures.harmonics[i].noise)};
        for (std::size_t c = 0; c < row.size(); ++c) curve.columns[c].values.push_back(row[c]);
    }
    return curve;
}

Numbers numbers_of(const Setup& setup, const capture::Load& load, const DistortionFigures& figures) {
    Numbers numbers;
    const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
    const capture::Input& input = setup.bench->inputs[load.plus];
    const double own = input.own_thd_percent.value_or(0.0) / 100.0;
    const std::string own_source = "input:" + input.name + ":own-distortion";

    Quantity voltage = load_voltage(setup, load, figures.total_v.value, figures.plus_share,
                                    field_number(*setup.test, "frequency_hz"));
    add_doubt(voltage, source + "noise", figures.total_v.noise);
    add_doubt(voltage, source + "repeatability", figures.total_v.scatter);
    numbers.add("voltage_v", voltage);
    if (std::isfinite(load.resistance_ohm)) {
        numbers.add("power_w", power_at(load, voltage, field_number(*setup.test, "frequency_hz")));
    } else if (!load.bare_input) {
        numbers.add_absent("power_w", {"no-load", "the load has no resistance",
                                       "name a load with a resistance if power is wanted"});
    }
    add_ratio(numbers, "thd_percent", figures.thd, source, own, own_source);
    add_ratio(numbers, "thd_total_percent", figures.thd_total, source, own, own_source);
    add_ratio(numbers, "thd_plus_noise_percent", figures.thd_plus_noise, source, own, own_source);
    for (std::size_t order = 2; order <= 10; ++order) {
        const std::string name = fmt::format("harmonic_{}_percent", order);
        if (order - 2 >= figures.harmonics.size()) {
            numbers.add_absent(
                name, {"outside-band", "this harmonic lies outside the band or above half the sample rate",
                       "take a lower frequency or a wider band"});
            continue;
        }
        add_ratio(numbers, name, figures.harmonics[order - 2], source, own, own_source);
    }
    numbers.curves.emplace_back(
        "harmonics", harmonics_curve(numbers, figures, own, field_number(*setup.test, "frequency_hz")));
    const Figure& residual = figures.thd_plus_noise;
    if (residual.value > 0.0) {
        Quantity sinad{-analysis::decibels(residual.value), "dB", {}};
        add_doubt(sinad, source + "noise", db_per_relative * residual.noise / residual.value);
        add_doubt(sinad, source + "repeatability", db_per_relative * residual.scatter / residual.value);
        if (own > 0.0)
            add_doubt(sinad, own_source,
                      db_per_relative * std::min(own / residual.value, 1.0) / std::numbers::sqrt3);
        numbers.add("sinad_db", sinad);
    }
    warn_of_unknown_own_distortion(input, numbers);
    return numbers;
}

/// Why a live test ended with the quiet take.
Absent not_reached(const Setup& setup, const Take& quiet) {
    if (const auto heard = heard_in(setup, quiet)) {
        const auto level = level_by_gain(setup, heard->level_dbfs, heard->total_v, heard->wanted_v);
        if (const auto* absent = std::get_if<Absent>(&level)) return *absent;
    }
    return quiet_not_read();
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "distortion";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const auto power = setup.test->number("power_w");
    const bool set_live = power && setup.live;
    const Take& take = set_live ? takes.back() : takes.front();
    auto read = read_staircase(setup, take);
    if (!read) {
        result.fault = read.error();
        return result;
    }
    add_conditions(setup, take, *read, result);
    if (power) result.conditions.emplace_back("power_asked_w", *power);
    if (!power || set_live) result.conditions.emplace_back("drive_dbfs", take.tone.peak_dbfs());
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const TrustedSteps steps = trusted_steps(read->loads[l]);
        if (set_live && read->loads[l].size() < static_cast<std::size_t>(repeats)) {
            result.loads.emplace_back(load.name, without_numbers("distortion", not_reached(setup, take)));
            continue;
        }
        if (!power || set_live) {
            // A jump of the level spoils the step in which it falls, and is no dropout.
            std::vector<double> volts;
            volts.reserve(steps.readings.size());
            for (const analysis::StepReading& reading : steps.readings)
                volts.push_back(reading.fundamental_v);
            if (std::string moved = level_moved(volts); !moved.empty()) {
                const auto& all = read->loads[l];
                if (std::any_of(all.begin(), all.end(), looks_flat))
                    moved +=
                        "; or, for its top is flat then, a ceiling of the recorder or a unit that limits";
                result.fault = untrusted_load(take, load, steps, moved);
                return result;
            }
            if (!steps.troubles.empty()) {
                result.fault = untrusted_load(take, load, steps, steps.troubles.front());
                return result;
            }
            Numbers numbers = numbers_of(setup, load, figures_at_level(steps));
            warn_of_flat_top(*setup.bench, load, read->loads[l], numbers);
            if (!steps.readings.empty()) warn_of_interference(steps.readings.back(), numbers);
            if (const Quantity* got = numbers.find("power_w"); set_live && got != nullptr)
                warn_of_other_power(*power, got->value, "is what these numbers belong to", numbers);
            result.loads.emplace_back(load.name, std::move(numbers));
            continue;
        }
        const auto figures =
            figures_at_volts(steps, volts_for_power(load, *power, field_number(*setup.test, "frequency_hz")));
        if (const auto* absent = std::get_if<Absent>(&figures)) {
            if (!steps.trouble_above().empty()) {
                result.fault = untrusted_load(take, load, steps, steps.trouble_above());
                return result;
            }
            result.loads.emplace_back(load.name, without_numbers("distortion", *absent));
            continue;
        }
        Numbers numbers = numbers_of(setup, load, std::get<DistortionFigures>(figures));
        for (const analysis::StepReading& reading : steps.readings) {
            if (reading.total_v < numbers.find("voltage_v")->value) continue;
            warn_of_interference(reading, numbers);
            break;
        }
        numbers.curves.emplace_back("level", level_curve(load, steps));
        for (const std::string& trouble : steps.troubles)
            numbers.warn("steps-lost", trouble, "no requested number rests on it");
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    add_steady_channels(setup, *read, result);
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "distortion";
    measure.summary = "volts, power, harmonics and noise at one level";
    measure.quantities = {
        {"voltage_v", "V", true, "volts RMS across the load, 20 Hz to 20 kHz"},
        {"power_w", "W", true, "power into the load"},
        {"thd_percent", "%", true, "all harmonics over the fundamental"},
        {"thd_total_percent", "%", true, "all harmonics over the whole"},
        {"thd_plus_noise_percent", "%", true, "everything but the fundamental over the whole"},
        {"sinad_db", "dB", true, "the whole over everything but the fundamental"},
    };
    for (int order = 2; order <= 10; ++order) {
        measure.quantities.push_back({fmt::format("harmonic_{}_percent", order), "%", true,
                                      fmt::format("harmonic {} over the fundamental", order)});
    }
    measure.quantities.push_back(
        {"channel_balance_db", "dB", false,
         "how much louder the loudest channel is than the faintest, at equal input"});
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::distortion
