#include "cli/measures/recording/held_level.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/signal/median.h"
#include "analysis/units.h"
#include "cli/measures/steps/step_trouble.h"

namespace assay::cli {

namespace {

constexpr double moved_power = 2.0;  // of the noise on one side of the moment, over the other

double lower_quartile(std::vector<double> values) {
    const auto place = values.begin() + static_cast<std::ptrdiff_t>((values.size() - 1) / 4);
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

double decibels(double volts, double reference_v) {
    return analysis::decibels(std::max(volts, 1e-12) / std::max(reference_v, 1e-12));
}

}  // namespace

std::string moved_words(double moved_db) {
    if (moved_db < -collapse_db) return "the output has collapsed: protection, mute or a pulled lead";
    return fmt::format(
        "a repeated level gives {:.2f} dB {} than at the start: thermal fade, or a hand on the knob",
        std::abs(moved_db), moved_db < 0.0 ? "less" : "more");
}

std::string level_moved(std::span<const double> volts) {
    for (const double volt : volts) {
        const double moved_db = decibels(volt, volts.front());
        if (std::abs(moved_db) > held_within_db) return moved_words(moved_db);
    }
    return {};
}

std::string noise_moved(const analysis::NoiseReading& reading) {
    constexpr std::ptrdiff_t least = 3;  // stretches to each side
    const auto& volts = reading.stretch_v;
    const auto count = static_cast<std::ptrdiff_t>(volts.size());
    double largest_db = 0.0;
    std::ptrdiff_t at = 0;
    for (std::ptrdiff_t split = least; split + least <= count; ++split) {
        const std::vector<double> before(volts.begin(), volts.begin() + split);
        const std::vector<double> after(volts.begin() + split, volts.end());
        // Clicks make some stretches of a side louder, a moved gain makes all of them.
        const double rise_db = decibels(lower_quartile(after), analysis::median(before));
        const double fall_db = decibels(lower_quartile(before), analysis::median(after));
        const double moved_db = std::max(rise_db, fall_db) <= 0.0 ? 0.0
                                : rise_db > fall_db               ? rise_db
                                                                  : -fall_db;
        if (std::abs(moved_db) <= std::abs(largest_db)) continue;
        largest_db = moved_db;
        at = split;
    }
    if (std::abs(largest_db) < analysis::power_decibels(moved_power)) return {};
    return fmt::format(
        "the noise is {:.1f} dB {} from about {:.0f} s on: a gain, a switch or a lead was moved",
        std::abs(largest_db), largest_db > 0.0 ? "louder" : "fainter",
        static_cast<double>(at) * reading.stretch_s);
}

void warn_of_flat_top(const capture::Bench& bench, const capture::Load& load,
                      const std::vector<LoadStep>& steps, Numbers& numbers) {
    for (const LoadStep& step : steps) {
        if (step.state != StepState::sound || !looks_flat(step)) continue;
        const auto unknown = [](const capture::Input& input, double peak_dbfs) {
            return !input.clean_up_to_dbfs || peak_dbfs > *input.clean_up_to_dbfs;
        };
        const bool plus = unknown(bench.inputs[load.plus], step.plus_peak_dbfs);
        const bool minus = load.minus && unknown(bench.inputs[*load.minus], step.minus_peak_dbfs);
        if (!plus && !minus) continue;
        const capture::Input& input = bench.inputs[plus ? load.plus : *load.minus];
        numbers.warn("recorder-ceiling-not-excluded",
                     fmt::format("the wave has a flat top at {:.2f} dBFS of input \"{}\", and nothing at one "
                                 "level shows whether it is the unit's or the recorder's",
                                 plus ? step.plus_peak_dbfs : step.minus_peak_dbfs, input.name),
                     "lower the recorder's gain or raise the attenuation and repeat; clean_up_to_dbfs from a "
                     "loopback tells how far an input can be trusted");
        return;
    }
}

void warn_if_not_clean(const capture::Input& input, double peak_dbfs, Numbers& numbers) {
    if (!input.clean_up_to_dbfs || peak_dbfs <= *input.clean_up_to_dbfs) return;
    numbers.warn("input-not-clean",
                 fmt::format("\"{}\" peaks at {:.1f} dBFS, and is known to be clean up to {:.1f} dBFS only",
                             input.name, peak_dbfs, *input.clean_up_to_dbfs),
                 "lower the recorder's gain: the distortion may be its own");
}

}  // namespace assay::cli
