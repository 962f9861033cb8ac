#include "cli/measures/power_bandwidth.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/amplifier/distortion_limit.h"
#include "analysis/amplifier/gain_fall.h"
#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/ceiling.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/level_rows.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/measures/steps/power_band_limit.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::power_bandwidth {

namespace {

using analysis::Absent;
using analysis::LimitCrossing;
using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double at_hz = 1000.0;
constexpr double range_db = 15.0;
constexpr double step_db = 0.5;
constexpr double shortest_step_s = 0.2;
constexpr double cycles_a_step = 16.0;
constexpr double end_guard_s = 0.005;
constexpr double head_below_db = 10.0;
constexpr double needed_order = 3.0;  // a symmetrical limit shows in odd harmonics: the third is the lowest

double top_dbfs(const Setup& setup) {
    return setup.test->number("to_dbfs").value_or(limit_dbfs(setup));
}

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    for (const char* field : {"drive_dbfs", "drive_volts", "power_w"}) {
        if (setup.test->fields.contains(field))
            return refuse(fmt::format("{}: the levels rise to to_dbfs", field), "take it out");
    }
    for (const std::size_t index : setup.test->loads) {
        if (!std::isfinite(setup.bench->loads[index].resistance_ohm))
            return refuse(fmt::format("loads: load \"{}\" has no resistance, so there is no power",
                                      setup.bench->loads[index].name),
                          "name loads with a resistance");
    }
    for (const double frequency_hz : frequencies_of(setup)) {
        if (frequency_hz > highest_share_of_rate * setup.tone_rate_hz)
            return refuse(fmt::format("frequencies_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz",
                                      frequency_hz, setup.tone_rate_hz),
                          fmt::format("stay below {:.6g} Hz", highest_share_of_rate * setup.tone_rate_hz));
    }
    if (top_dbfs(setup) > limit_dbfs(setup) + 1e-9)
        return refuse(fmt::format("to_dbfs: {:.2f} dBFS is above the bench's maximum of {:.2f} dBFS",
                                  top_dbfs(setup), limit_dbfs(setup)),
                      "lower it, or raise the output's maximum if the unit bears it");
    return {};
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (!takes.empty()) return std::nullopt;
    const double top = top_dbfs(setup);
    std::vector<capture::RowStep> steps;
    for (const double frequency_hz : frequencies_of(setup)) {
        for (const double level : rising_levels(top, range_db, step_db)) {
            steps.push_back({capture::SteadySine{frequency_hz, 0.0}, level,
                             std::max(shortest_step_s, cycles_a_step / frequency_hz)});
        }
    }
    return capture::make_tone_row({.rate_hz = setup.tone_rate_hz,
                                   .steps = steps,
                                   .head_dbfs = top - head_below_db,
                                   .mark_dbfs = top - range_db,
                                   .marks_follow = true,
                                   .code = setup.test->id + "/power-bandwidth"});
}

/// Where one row passes one limit, and by what it was judged.
struct RowPower {
    double frequency_hz = 0.0;
    std::optional<Quantity> power{};
    Absent why{};
    int harmonics_in_band = 0;
    bool by_gain = false;
};

struct LoadRows {
    const Setup* setup = nullptr;
    const capture::Load* load = nullptr;
    std::vector<LevelRow> rows{};
    double bandwidth_hz = 20000.0;
};

const LevelRow* row_at_1khz(const LoadRows& rows) {
    const auto row =
        std::ranges::find_if(rows.rows, [](const LevelRow& each) { return each.frequency_hz == at_hz; });
    return row == rows.rows.end() ? nullptr : &*row;
}

analysis::DistortionKind kind_of(const Setup& setup) {
    return field_text(*setup.test, "limit_on") == "thd" ? analysis::DistortionKind::thd
                                                        : analysis::DistortionKind::thd_plus_noise;
}

std::variant<LimitCrossing, Absent> judge_row(const LevelRow& row, double limit, double fall_at_1khz_db,
                                              bool by_gain, analysis::DistortionKind kind) {
    if (!by_gain) return analysis::find_limit_crossing(row.readings, limit, kind);
    return analysis::find_gain_fall(row.readings, fall_at_1khz_db);
}

std::vector<RowPower> powers_of(const LoadRows& rows, double limit_percent) {
    const double limit = limit_percent / 100.0;
    const LevelRow* at_1khz = row_at_1khz(rows);
    std::optional<double> fall_db;
    if (at_1khz != nullptr) {
        const auto crossing = analysis::find_limit_crossing(at_1khz->readings, limit, kind_of(*rows.setup));
        if (const auto* found = std::get_if<LimitCrossing>(&crossing)) {
            const auto fall = analysis::gain_fall_db(at_1khz->readings, found->drive_dbfs);
            if (const auto* value = std::get_if<double>(&fall)) fall_db = *value;
        }
    }
    const std::string source = "test:" + rows.setup->test->id + ":" + rows.load->name + ":";
    std::vector<RowPower> powers;
    for (const LevelRow& row : rows.rows) {
        RowPower result;
        result.frequency_hz = row.frequency_hz;
        result.harmonics_in_band =
            std::max(static_cast<int>(rows.bandwidth_hz / row.frequency_hz * (1.0 + 1e-9)) - 1, 0);
        result.by_gain = needed_order * row.frequency_hz > rows.bandwidth_hz * (1.0 + 1e-9);
        if (row.trouble_above) {
            result.why = {"steps-lost", row.trouble,
                          "record again; lower the recorder's gain if it overloads"};
        } else if (result.by_gain && !fall_db) {
            result.why = {"gain-unknown", "nothing tells at 1 kHz how far the gain falls at the limit",
                          "let the tone reach the limit at 1 kHz, from well below it"};
        } else {
            const auto judged =
                judge_row(row, limit, fall_db.value_or(0.0), result.by_gain, kind_of(*rows.setup));
            if (const auto* absent = std::get_if<Absent>(&judged)) {
                result.why = *absent;
            } else {
                const auto& crossing = std::get<LimitCrossing>(judged);
                Quantity voltage =
                    load_voltage(*rows.setup, *rows.load, crossing.total_v, row.plus_share, row.frequency_hz);
                add_doubt(voltage, source + "noise", crossing.noise_doubt_v);
                add_doubt(voltage, source + "interpolation", crossing.interpolation_doubt_v);
                result.power = power_at(*rows.load, voltage, row.frequency_hz);
            }
        }
        powers.push_back(std::move(result));
    }
    return powers;
}

void add_band(const Setup& setup, const capture::Load& load, const std::vector<RowPower>& powers,
              Numbers& numbers) {
    std::vector<PowerPoint> points;
    bool has_1khz = false;
    for (const RowPower& row : powers) {
        if (!row.power) continue;
        points.push_back({row.frequency_hz, *row.power});
        has_1khz = has_1khz || row.frequency_hz == at_hz;
    }
    for (const bool lower : {true, false}) {
        const std::string name = lower ? "lower_limit_hz" : "upper_limit_hz";
        if (!has_1khz) {
            const auto row = std::ranges::find_if(
                powers, [](const RowPower& power) { return power.frequency_hz == at_hz; });
            numbers.add_absent(name, row->why);
            continue;
        }
        const auto limit =
            half_power_limit(points, at_hz, lower, "test:" + setup.test->id + ":" + load.name + ":");
        if (limit) {
            numbers.add(name, *limit);
            continue;
        }
        numbers.add_absent(name,
                           {"limit-beyond-range",
                            fmt::format("the power stays within 3 dB of that at 1 kHz {} to {:.5g} Hz",
                                        lower ? "down" : "up",
                                        lower ? points.front().frequency_hz : points.back().frequency_hz),
                            "add frequencies beyond it if the limit is wanted"});
    }
}

Numbers numbers_of(const LoadRows& rows, const std::vector<double>& limits) {
    Numbers numbers;
    analysis::Curve curve;
    curve.columns = {{"frequency_hz"}, {"power_w"}, {"power_expanded_uncertainty_w"}, {"harmonics_in_band"}};
    std::string by_gain;
    for (std::size_t k = 0; k < limits.size(); ++k) {
        const std::vector<RowPower> powers = powers_of(rows, limits[k]);
        analysis::Column column{"power_at_" + limit_in_name(limits[k]) + "_percent_w", {}};
        for (const RowPower& row : powers) {
            const double watts = row.power ? row.power->value : std::numeric_limits<double>::quiet_NaN();
            column.values.push_back(watts);
            if (k > 0) continue;
            curve.columns[0].values.push_back(row.frequency_hz);
            curve.columns[1].values.push_back(watts);
            curve.columns[2].values.push_back(row.power ? row.power->expanded_uncertainty()
                                                        : std::numeric_limits<double>::quiet_NaN());
            curve.columns[3].values.push_back(row.harmonics_in_band);
            if (row.by_gain)
                by_gain += fmt::format("{}{:.6g} Hz ({} in band)", by_gain.empty() ? "" : ", ",
                                       row.frequency_hz, row.harmonics_in_band);
            if (!row.power)
                numbers.warn(row.why.code, fmt::format("{:.6g} Hz: {}", row.frequency_hz, row.why.text),
                             row.why.advice);
        }
        if (k == 0) {
            add_band(*rows.setup, *rows.load, powers, numbers);
        } else {
            curve.columns.push_back(std::move(column));
        }
    }
    if (!by_gain.empty()) {
        numbers.warn(
            "harmonics-beyond-band",
            fmt::format("the harmonics that tell of a limit lie beyond {:.5g} Hz at {}; judged there "
                        "by the fall of gain that the limit has at 1 kHz",
                        rows.bandwidth_hz, by_gain),
            "widen distortion_bandwidth_hz, with a recorder fast enough, if harmonics are to count");
    }
    numbers.curves.emplace_back("power", std::move(curve));
    return numbers;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "power-bandwidth";
    const auto placed = place_take(setup, takes);
    if (!placed) {
        result.fault = placed.error();
        return result;
    }
    const Take& take = takes.front();
    const double ratio = placed->placement.clock_ratio;
    const std::vector<double> limits = field_numbers(*setup.test, "distortion_limits_percent");
    const double bandwidth_hz =
        std::min(field_number(*setup.test, "distortion_bandwidth_hz"), 0.5 * placed->rate_hz);
    result.conditions.emplace_back("limit_percent", limits.front());
    result.conditions.emplace_back("limit_on", field_text(*setup.test, "limit_on"));
    result.conditions.emplace_back("distortion_bandwidth_hz", bandwidth_hz);
    add_take_conditions(setup, take, placed->placement.start_s, 1e6 * (ratio - 1.0), result);
    const StepReader read = [&](const capture::Load& load, std::size_t step) {
        const double frequency_hz = std::get<capture::SteadySine>(placed->steps[step].law).frequency_hz;
        const double length_s = static_cast<double>(placed->steps[step].frames) / take.tone.rate_hz;
        const std::vector<double> volts =
            load_volts(setup, *placed, load, placed->at_s(step, std::max(0.06, 4.0 / frequency_hz)),
                       placed->at_s(step, length_s - end_guard_s));
        analysis::StepOptions options;
        options.nominal_hz = frequency_hz;
        options.frequency_guess_hz = frequency_hz / ratio;
        options.bandwidth_hz = bandwidth_hz;
        options.high_pass_hz = setup.bench->inputs[load.plus].high_pass_hz.value_or(0.0);
        analysis::StepReading reading = analysis::read_step(volts, placed->rate_hz, options);
        refer_to_scale(setup.bench->inputs[load.plus], reading);
        return reading;
    };
    std::vector<LoadRows> all;
    std::vector<std::vector<LoadStep>> ladders;  // of 1 kHz
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        all.push_back({&setup, &load, read_rows(setup, take, *placed, load, read), bandwidth_hz});
        const LevelRow* row = row_at_1khz(all.back());
        ladders.push_back(row == nullptr ? std::vector<LoadStep>{} : steps_of(*row));
    }
    for (std::size_t l = 0; l < all.size(); ++l) {
        const LoadRows& rows = all[l];
        const capture::Load& load = *rows.load;
        const LevelRow* at_1khz = row_at_1khz(rows);
        if (at_1khz == nullptr || at_1khz->trouble_above || at_1khz->readings.empty()) {
            result.fault = fault_of(take, load,
                                    {at_1khz == nullptr ? "no step of 1 kHz" : at_1khz->trouble,
                                     at_1khz != nullptr && at_1khz->overload});
            return result;
        }
        Numbers numbers = numbers_of(rows, limits);
        const auto crossing =
            analysis::find_limit_crossing(at_1khz->readings, limits.front() / 100.0, kind_of(setup));
        // The powers at other frequencies have the same peaks: what is true of 1 kHz is true of them.
        if (const auto* found = std::get_if<LimitCrossing>(&crossing))
            warn_of_ceiling(setup, l, ladders, at_1khz->readings[found->above].level_dbfs, numbers);
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.in_watts = true;
    measure.name = "power-bandwidth";
    measure.summary = "the power at a distortion limit against frequency";
    measure.fields = {
        {.name = "frequencies_hz",
         .type = FieldType::numbers,
         .unit = "Hz",
         .default_text = "[20, 30, 50, 100, 200, 500, 1000, 2000, 5000, 7000, 10000, 14000, 20000]",
         .minimum = 10.0,
         .maximum = 40000.0,
         .help = "where it is measured; 1000 is always added"},
        {.name = "distortion_limits_percent",
         .type = FieldType::numbers,
         .unit = "%",
         .default_text = "[1]",
         .minimum = 0.001,
         .maximum = 40.0,
         .help = "limits of distortion; the band is that of the first"},
        {.name = "limit_on",
         .type = FieldType::choice,
         .default_text = "thd",
         .choices = {"thd", "thd+n"},
         .help = "what the limits are of: harmonics alone, or harmonics and noise"},
        {.name = "to_dbfs",
         .type = FieldType::number,
         .unit = "dBFS",
         .minimum = -60.0,
         .maximum = 0.0,
         .help = "level of the loudest step; left out: the bench's limit. The steps are the 15 dB up to it"},
    };
    measure.quantities = {
        {"lower_limit_hz", "Hz", true, "lowest frequency with at least half the power of 1 kHz (-3 dB)"},
        {"upper_limit_hz", "Hz", true, "highest frequency with at least half the power of 1 kHz (-3 dB)"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::power_bandwidth
