#include "cli/measures/recording/quiet_take.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "analysis/signal/harmonic_fit.h"
#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::Absent;

constexpr double step_s = 1.0;
constexpr double settling_s = 0.1;
constexpr double quiet_guard_s = 0.03;
constexpr double quiet_head_below_db = 10.0;

}  // namespace

Numbers without_numbers(const std::string& measure, const Absent& why) {
    Numbers numbers;
    for (const QuantityEntry& entry : find_measure(measure)->quantities) {
        if (!entry.per_load) continue;
        if (numbers.absent.empty()) {
            numbers.add_absent(entry.name, why);
        } else {
            numbers.absent.emplace_back(entry.name, why);
        }
    }
    return numbers;
}

Absent quiet_not_read() {
    return {"power-not-reached", "the quiet tone that tells the gain could not be read without doubt",
            "look at the wiring and at other programs that use the sound card, then run the test again"};
}

capture::Tone quiet_tone(const Setup& setup, double frequency_hz, const std::string& code) {
    const double level_dbfs = quiet_dbfs(setup);
    return capture::make_tone_row({.rate_hz = setup.tone_rate_hz,
                                   .steps = {{capture::SteadySine{frequency_hz, 0.0}, level_dbfs, step_s}},
                                   .head_dbfs = level_dbfs - quiet_head_below_db,
                                   .mark_dbfs = level_dbfs,
                                   .code = setup.test->id + "/" + code});
}

bool only_quiet(const Setup& setup, std::span<const Take> takes) {
    return setup.live && setup.test->number("power_w") && takes.size() == 1;
}

Absent why_not_gone_on(const std::variant<double, Absent>& level) {
    if (const auto* why = std::get_if<Absent>(&level)) return *why;
    return {"stopped", "the test was not gone on with", "run it again"};
}

Absent why_only_quiet(const Setup& setup, const Take& quiet) {
    return why_not_gone_on(level_by_quiet_tone(setup, quiet));
}

std::variant<double, Absent> level_by_quiet_tone(const Setup& setup, const Take& quiet) {
    const auto placed = place_take(setup, quiet);
    if (!placed || placed->steps.empty()) return quiet_not_read();
    const capture::Segment& step = placed->steps.front();
    const auto* sine = std::get_if<capture::SteadySine>(&step.law);
    if (sine == nullptr) return quiet_not_read();
    const double length_s = static_cast<double>(step.frames) / quiet.tone.rate_hz;
    const double from_s = placed->at_s(0, settling_s);
    const double to_s = placed->at_s(0, length_s - quiet_guard_s);
    std::variant<double, Absent> least = std::numeric_limits<double>::infinity();
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        if (trouble_at(setup, *placed, load, 0, placed->at_s(0, 0.0), placed->at_s(0, length_s), true))
            return quiet_not_read();
        const std::vector<double> volts = load_volts(setup, *placed, load, from_s, to_s);
        const analysis::HarmonicFit fit = analysis::fit_harmonics(
            volts, placed->rate_hz, sine->frequency_hz / placed->placement.clock_ratio, {.harmonics = 3});
        const double doubt_v = fit.sigma * std::sqrt(2.0 / static_cast<double>(volts.size()));
        if (!(fit.amplitude() > signal_to_doubt * doubt_v)) return quiet_not_read();
        const double heard_v = fit.amplitude() / std::numbers::sqrt2 *
                               scale_correction(setup.bench->inputs[load.plus], sine->frequency_hz);
        auto level = level_by_gain(setup, step.level_dbfs, heard_v,
                                   volts_for_power(load, *setup.test->number("power_w"), sine->frequency_hz));
        // One load that cannot be reached is no reason against another that gets its power earlier.
        if (std::holds_alternative<double>(level) &&
            (std::holds_alternative<Absent>(least) || std::get<double>(level) < std::get<double>(least)))
            least = level;
        if (std::holds_alternative<Absent>(level) && std::holds_alternative<double>(least) &&
            std::get<double>(least) > limit_dbfs(setup))
            least = level;
    }
    return least;
}

}  // namespace assay::cli
