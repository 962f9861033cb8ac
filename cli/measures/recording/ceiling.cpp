#include "cli/measures/recording/ceiling.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "analysis/amplifier/clip_onset.h"
#include "analysis/units.h"

namespace assay::cli {

namespace {

constexpr double sag_db = 0.15;  // fall of the peak over the top that a fixed ceiling cannot show
constexpr double different_scale_db = 1.0;
constexpr double same_volts = 0.03;  // of a ceiling seen through two dividers

double peak_of(const LoadStep& step) {
    return std::max(step.reading.peak_positive_v, -step.reading.peak_negative_v);
}

/// The highest peak of the sound steps, and by how much that of the loudest of them lies below it.
struct Ceiling {
    double highest_v = 0.0;
    double fallen_db = 0.0;
};

Ceiling ceiling_of(const std::vector<LoadStep>& steps) {
    Ceiling ceiling;
    double last = 0.0;
    for (const LoadStep& step : steps) {
        if (step.state != StepState::sound) continue;
        last = peak_of(step);
        ceiling.highest_v = std::max(ceiling.highest_v, last);
    }
    if (last > 0.0) ceiling.fallen_db = analysis::decibels(ceiling.highest_v / last);
    return ceiling;
}

double full_scale_v(const capture::Bench& bench, const capture::Load& load) {
    return std::abs(bench.inputs[load.plus].volts_per_unit());
}

}  // namespace

CeilingVerdict whose_ceiling(const Setup& setup, std::size_t load_position,
                             const std::vector<std::vector<LoadStep>>& loads, double needed_drive_dbfs) {
    const capture::Bench& bench = *setup.bench;
    const capture::Load& load = bench.loads[setup.test->loads[load_position]];
    const std::vector<LoadStep>& steps = loads[load_position];

    double plus_peak = -200.0;
    double minus_peak = -200.0;
    for (const LoadStep& step : steps) {
        if (step.state != StepState::sound || step.reading.level_dbfs > needed_drive_dbfs + 1e-6) continue;
        plus_peak = std::max(plus_peak, step.plus_peak_dbfs);
        minus_peak = std::max(minus_peak, step.minus_peak_dbfs);
    }
    const auto clean = [&](const capture::Input& input, double peak) {
        return input.clean_up_to_dbfs && peak <= *input.clean_up_to_dbfs;
    };
    if (clean(bench.inputs[load.plus], plus_peak) &&
        (!load.minus || clean(bench.inputs[*load.minus], minus_peak))) {
        return {true, "the inputs are known to be clean up to here (clean_up_to_dbfs)"};
    }
    const Ceiling own = ceiling_of(steps);
    if (own.fallen_db > sag_db) {
        return {true,
                fmt::format(
                    "the flat top falls by {:.2f} dB as the drive rises; a recorder's ceiling stands still",
                    own.fallen_db)};
    }
    for (std::size_t other = 0; other < loads.size(); ++other) {
        const capture::Load& other_load = bench.loads[setup.test->loads[other]];
        if (other == load_position || other_load.plus == load.plus || other_load.driven_by != load.driven_by)
            continue;
        const double scale_db =
            analysis::decibels(full_scale_v(bench, other_load) / full_scale_v(bench, load));
        if (std::abs(scale_db) < different_scale_db) continue;
        const Ceiling theirs = ceiling_of(loads[other]);
        if (std::abs(theirs.highest_v / own.highest_v - 1.0) < same_volts) {
            return {true, fmt::format(
                              "two inputs whose scales differ by {:.1f} dB see the same ceiling of {:.3g} V",
                              std::abs(scale_db), own.highest_v)};
        }
    }
    for (const auto& [input, peak] :
         {std::pair{&bench.inputs[load.plus], plus_peak},
          std::pair{load.minus ? &bench.inputs[*load.minus] : nullptr, minus_peak}}) {
        if (input == nullptr || !input->clean_up_to_dbfs || peak <= *input->clean_up_to_dbfs) continue;
        return {
            false,
            fmt::format("input \"{}\" peaked at {:.1f} dBFS and is known to be clean up to {:.1f} dBFS only, "
                        "so the flat top may be the amplifier's or the recorder's",
                        input->name, peak, *input->clean_up_to_dbfs)};
    }
    return {false, "nothing on this bench shows whether the flat top is the amplifier's or the recorder's"};
}

void warn_of_ceiling(const Setup& setup, std::size_t load_position,
                     const std::vector<std::vector<LoadStep>>& loads, double needed_drive_dbfs,
                     Numbers& numbers) {
    std::vector<analysis::StepReading> readings;
    for (const LoadStep& step : loads[load_position]) {
        if (step.state == StepState::sound) readings.push_back(step.reading);
    }
    std::optional<double> clipping_from_dbfs;
    for (const auto polarity : {analysis::Polarity::positive, analysis::Polarity::negative}) {
        const auto onset = analysis::find_clip_onset(readings, polarity);
        const auto* found = std::get_if<analysis::ClipOnset>(&onset);
        if (found != nullptr)
            clipping_from_dbfs = std::min(found->drive_dbfs, clipping_from_dbfs.value_or(found->drive_dbfs));
    }
    if (!clipping_from_dbfs) return;
    const CeilingVerdict verdict =
        whose_ceiling(setup, load_position, loads, std::max(needed_drive_dbfs, *clipping_from_dbfs));
    if (verdict.amplifier_proven) return;
    const capture::Load& load = setup.bench->loads[setup.test->loads[load_position]];
    numbers.warn("recorder-ceiling-not-excluded",
                 verdict.words + (load.bare_input ? "; volts" : "; a power") +
                     " too low for the rating may be the recorder's doing",
                 "lower the recorder's gain or raise the attenuation and repeat; clean_up_to_dbfs from a "
                 "loopback tells how far an input can be trusted");
}

}  // namespace assay::cli
