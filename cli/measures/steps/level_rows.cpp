#include "cli/measures/steps/level_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <variant>

#include "analysis/units.h"
#include "cli/measures/recording/trouble_words.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

namespace {

constexpr double silent_dbfs = -200.0;
constexpr double collapse = 0.1;  // of the volts that the loudest step before had: 20 dB

double frequency_of(const capture::Segment& segment) {
    if (const auto* burst = std::get_if<capture::ToneBurst>(&segment.law)) return burst->frequency_hz;
    const auto* sine = std::get_if<capture::SteadySine>(&segment.law);
    return sine != nullptr ? sine->frequency_hz : 0.0;
}

double peak_dbfs(const Setup& setup, const PlacedTake& placed, std::size_t index, double from_s,
                 double to_s) {
    const capture::Input& input = setup.bench->inputs[index];
    double peak_v = 0.0;
    for (const double volts : input_volts(placed, input, from_s, to_s))
        peak_v = std::max(peak_v, std::abs(volts));
    return std::max(silent_dbfs,
                    analysis::floored_decibels(peak_v / std::abs(input.volts_per_unit()), 1e-300));
}

}  // namespace

std::vector<LoadStep> steps_of(const LevelRow& row) {
    std::vector<LoadStep> steps;
    for (std::size_t k = 0; k < row.readings.size(); ++k) {
        LoadStep step;
        step.reading = row.readings[k];
        step.plus_share = row.plus_share;
        step.plus_peak_dbfs = row.plus_peaks_dbfs[k];
        step.minus_peak_dbfs = row.minus_peaks_dbfs[k];
        steps.push_back(std::move(step));
    }
    return steps;
}

std::vector<LevelRow> read_rows(const Setup& setup, const Take& take, const PlacedTake& placed,
                                const capture::Load& load, const StepReader& read) {
    std::vector<LevelRow> rows;
    double loudest_v = 0.0;
    for (std::size_t step = 0; step < placed.steps.size(); ++step) {
        const double frequency_hz = frequency_of(placed.steps[step]);
        if (rows.empty() || rows.back().frequency_hz != frequency_hz) {
            rows.push_back({frequency_hz});
            loudest_v = 0.0;
        }
        LevelRow& row = rows.back();
        const double length_s = static_cast<double>(placed.steps[step].frames) / take.tone.rate_hz;
        const double from_s = placed.at_s(step, 0.0);
        const double to_s = placed.at_s(step, length_s);
        const auto leave_out = [&](const std::string& words, bool overload) {
            if (row.trouble.empty()) row.trouble = words;
            row.trouble_above = true;
            row.overload = row.overload || overload;
        };
        if (const auto trouble = trouble_at(setup, placed, load, step, from_s, to_s, true)) {
            leave_out(trouble->words, trouble->overload);
            continue;
        }
        analysis::StepReading reading = read(load, step);
        reading.level_dbfs = placed.steps[step].level_dbfs;
        reading.at_s = 0.5 * (from_s + to_s);
        if (reading.disturbed) {
            leave_out(uneven_words({true, reading.disturbed_at_s, reading.level_jumped}, from_s), false);
            continue;
        }
        if (reading.fundamental_v < collapse * loudest_v) {
            leave_out(fmt::format("the output collapses at {}: protection, mute or a pulled lead",
                                  seconds_text(reading.at_s)),
                      false);
            continue;
        }
        loudest_v = std::max(loudest_v, reading.fundamental_v);
        row.readings.push_back(std::move(reading));
        row.plus_peaks_dbfs.push_back(peak_dbfs(setup, placed, load.plus, from_s, to_s));
        row.minus_peaks_dbfs.push_back(load.minus ? peak_dbfs(setup, placed, *load.minus, from_s, to_s)
                                                  : silent_dbfs);
        row.plus_share = plus_share_of(setup, placed, load, from_s, to_s);
        row.trouble_above = false;
    }
    return rows;
}

std::vector<double> rising_levels(double top_dbfs, double range_db, double step_db) {
    std::vector<double> levels;
    const int count = static_cast<int>(std::lround(range_db / step_db));
    for (int k = count; k >= 0; --k) levels.push_back(top_dbfs - k * step_db);
    return levels;
}

}  // namespace assay::cli
