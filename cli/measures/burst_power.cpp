#include "cli/measures/burst_power.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/burst_reading.h"
#include "analysis/amplifier/distortion_limit.h"
#include "analysis/units.h"
#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/ceiling.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/level_rows.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::burst_power {

namespace {

using analysis::Absent;
using analysis::LimitCrossing;
using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double default_hz = 1000.0;  // the pattern of 20 and 480 cycles is of that frequency
constexpr double off_db = 20.0;
constexpr double range_db = 12.0;
constexpr double step_db = 0.5;
constexpr double fine_range_db = 6.0;  // at the top, where most units reach their limit
constexpr double fine_step_db = 0.25;
constexpr int bursts_a_level = 3;
constexpr int unread_bursts = 1;  // the first of each level: the supply has not yet settled to it
constexpr double cycles_to_settle = 2.0;
constexpr double cycles_at_end = 1.0;
constexpr double fewest_cycles = 8.0;
constexpr double after_last_s = 0.02;  // quiet again, so that the step's fade spares the last burst
constexpr double head_below_db = 10.0;

double frequency_of(const Setup& setup) {
    return setup.test->number("frequency_hz").value_or(default_hz);
}

/// Both parts hold whole cycles, so that the level changes where the sine passes zero.
capture::ToneBurst burst_of(const Setup& setup) {
    const double frequency_hz = frequency_of(setup);
    const auto whole = [&](const char* field) {
        return std::max(std::round(1e-3 * field_number(*setup.test, field) * frequency_hz), 1.0) /
               frequency_hz;
    };
    return {frequency_hz, whole("on_ms"), whole("off_ms"), off_db};
}

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
    const capture::ToneBurst burst = burst_of(setup);
    if (burst.on_s * burst.frequency_hz < fewest_cycles)
        return refuse(fmt::format("on_ms: {:.3g} ms hold fewer than {:.0f} cycles of {:.6g} Hz",
                                  1e3 * burst.on_s, fewest_cycles, burst.frequency_hz),
                      "take longer bursts or a higher frequency");
    const double bandwidth_hz = field_number(*setup.test, "distortion_bandwidth_hz");
    if (3.0 * burst.frequency_hz > std::min(bandwidth_hz, highest_share_of_rate * setup.tone_rate_hz))
        return refuse(fmt::format("frequency_hz: the third harmonic of {:.6g} Hz lies outside of the band",
                                  burst.frequency_hz),
                      "take a lower frequency: the limit is judged by harmonics");
    if (top_dbfs(setup) > limit_dbfs(setup) + 1e-9)
        return refuse(fmt::format("to_dbfs: {:.2f} dBFS is above the bench's maximum of {:.2f} dBFS",
                                  top_dbfs(setup), limit_dbfs(setup)),
                      "lower it, or raise the output's maximum if the unit bears it");
    for (const std::size_t index : setup.test->loads) {
        if (!std::isfinite(setup.bench->loads[index].resistance_ohm))
            return refuse(fmt::format("loads: load \"{}\" has no resistance, so there is no power",
                                      setup.bench->loads[index].name),
                          "name loads with a resistance");
    }
    const auto id = setup.test->text("continuous");
    if (!id || !setup.named) return {};
    const auto named = setup.named(*id);
    if (!named || (named->test->measure != "clipping-power" && named->test->measure != "meter-power"))
        return refuse(fmt::format("continuous: the job has no power test \"{}\"", *id),
                      "give the id of a clipping-power or meter-power test");
    return {};
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (!takes.empty()) return std::nullopt;
    const capture::ToneBurst burst = burst_of(setup);
    std::vector<capture::RowStep> steps;
    std::vector<double> levels =
        rising_levels(top_dbfs(setup) - fine_range_db, range_db - fine_range_db, step_db);
    const std::vector<double> fine =
        rising_levels(top_dbfs(setup), fine_range_db - fine_step_db, fine_step_db);
    levels.insert(levels.end(), fine.begin(), fine.end());
    steps.reserve(levels.size());
    for (const double level : levels)
        steps.push_back({burst, level, bursts_a_level * (burst.on_s + burst.off_s) + after_last_s});
    // Marks and head no louder than the tone between bursts, so that the supply rests.
    return capture::make_tone_row({.rate_hz = setup.tone_rate_hz,
                                   .steps = steps,
                                   .head_dbfs = top_dbfs(setup) - head_below_db - off_db / 2.0,
                                   .mark_dbfs = top_dbfs(setup) - off_db,
                                   .code = setup.test->id + "/burst-power"});
}

analysis::StepReading read_level(const Setup& setup, const PlacedTake& placed, const capture::Load& load,
                                 std::size_t step) {
    const auto& burst = std::get<capture::ToneBurst>(placed.steps[step].law);
    std::vector<std::vector<double>> volts;
    for (int k = unread_bursts; k < bursts_a_level; ++k) {
        const double begins_s = (k + 1) * burst.off_s + k * burst.on_s;
        volts.push_back(load_volts(
            setup, placed, load, placed.at_s(step, begins_s + cycles_to_settle / burst.frequency_hz),
            placed.at_s(step, begins_s + burst.on_s - cycles_at_end / burst.frequency_hz)));
    }
    const std::vector<std::span<const double>> spans(volts.begin(), volts.end());
    analysis::StepReading reading =
        analysis::read_bursts(spans, placed.rate_hz, burst.frequency_hz / placed.placement.clock_ratio,
                              burst.frequency_hz, field_number(*setup.test, "distortion_bandwidth_hz"));
    refer_to_scale(setup.bench->inputs[load.plus], reading);
    return reading;
}

/// The continuous power at the same limit; absent with the reason where the named test does not give it.
std::variant<Quantity, Absent> continuous_power(const Setup& setup, const std::string& id,
                                                const capture::Load& load, double limit_percent) {
    const auto named = setup.named ? setup.named(id) : std::nullopt;
    const Absent missing{
        "no-continuous-power",
        fmt::format("test \"{}\" gives no power at {:g} % for load \"{}\"", id, limit_percent, load.name),
        "put that test before this one, with the same load and limit"};
    const Measure* measure = named ? find_measure(named->test->measure) : nullptr;
    if (measure == nullptr || (measure->plays && named->takes.empty())) return missing;
    Setup other = setup;
    other.test = named->test;
    const TestResult result = measure->evaluate(other, named->takes);
    const Numbers* numbers = result.fault ? nullptr : result.load(load.name);
    if (numbers == nullptr) return missing;
    const Quantity* power = numbers->find(measure->name == "meter-power"
                                              ? std::string("power_w")
                                              : "power_at_" + limit_in_name(limit_percent) + "_percent_w");
    if (power == nullptr) return missing;
    return *power;
}

void add_headroom(const Setup& setup, const capture::Load& load, double limit_percent, Numbers& numbers) {
    const Quantity* burst = numbers.find("burst_power_w");
    const auto id = setup.test->text("continuous");
    if (!id) {
        numbers.absent.emplace_back("headroom_db",
                                    Absent{"no-continuous-power", "no test of the continuous power is named",
                                           "name one as continuous if the headroom is wanted"});
        return;
    }
    const auto continuous = continuous_power(setup, *id, load, limit_percent);
    if (const auto* absent = std::get_if<Absent>(&continuous)) {
        numbers.add_absent("headroom_db", *absent);
        return;
    }
    if (burst == nullptr) {
        numbers.absent.emplace_back("headroom_db", *numbers.find_absent("burst_power_w"));
        return;
    }
    const auto& steady = std::get<Quantity>(continuous);
    const double db_per_relative = 10.0 / std::numbers::ln10;
    numbers.add("headroom_db", analysis::combine(analysis::power_decibels(burst->value / steady.value), "dB",
                                                 {{burst, db_per_relative / burst->value},
                                                  {&steady, -db_per_relative / steady.value}}));
}

analysis::Curve curve_of(const capture::Load& load, const LevelRow& row) {
    analysis::Curve curve;
    curve.columns = {{"drive_dbfs"}, {"voltage_v"}, {"power_w"}, {"thd_percent"}};
    for (const analysis::StepReading& reading : row.readings) {
        curve.columns[0].values.push_back(reading.level_dbfs);
        curve.columns[1].values.push_back(reading.total_v);
        curve.columns[2].values.push_back(reading.total_v * reading.total_v *
                                          conductance_at(load, reading.frequency_hz));
        curve.columns[3].values.push_back(100.0 * reading.thd);
    }
    return curve;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "burst-power";
    const auto placed = place_take(setup, takes);
    if (!placed) {
        result.fault = placed.error();
        return result;
    }
    const Take& take = takes.front();
    const double limit_percent = field_number(*setup.test, "distortion_limit_percent");
    const auto& burst = std::get<capture::ToneBurst>(placed->steps.front().law);
    result.conditions.emplace_back("frequency_hz", burst.frequency_hz);
    result.conditions.emplace_back("on_ms", 1e3 * burst.on_s);
    result.conditions.emplace_back("off_ms", 1e3 * burst.off_s);
    result.conditions.emplace_back("off_below_db", burst.off_db);
    result.conditions.emplace_back("limit_percent", limit_percent);
    add_take_conditions(setup, take, placed->placement.start_s, 1e6 * (placed->placement.clock_ratio - 1.0),
                        result);
    std::vector<LevelRow> rows;
    std::vector<std::vector<LoadStep>> ladders;
    for (const std::size_t index : setup.test->loads) {
        auto read = read_rows(
            setup, take, *placed, setup.bench->loads[index],
            [&](const capture::Load& of, std::size_t step) { return read_level(setup, *placed, of, step); });
        rows.push_back(std::move(read.front()));
        ladders.push_back(steps_of(rows.back()));
    }
    for (std::size_t l = 0; l < rows.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
        const LevelRow& row = rows[l];
        const auto found =
            analysis::find_limit_crossing(row.readings, limit_percent / 100.0, analysis::DistortionKind::thd);
        const auto* absent = std::get_if<Absent>(&found);
        if (row.readings.empty() || (absent != nullptr && row.trouble_above)) {
            result.fault = fault_of(take, load, {row.trouble, row.overload});
            return result;
        }
        Numbers numbers;
        if (absent != nullptr) {
            numbers.add_absent("burst_power_w", *absent);
        } else {
            const auto& crossing = std::get<LimitCrossing>(found);
            Quantity voltage =
                load_voltage(setup, load, crossing.total_v, row.plus_share, burst.frequency_hz);
            add_doubt(voltage, source + "noise", crossing.noise_doubt_v);
            add_doubt(voltage, source + "interpolation", crossing.interpolation_doubt_v);
            numbers.add("burst_power_w", power_at(load, voltage, burst.frequency_hz));
            warn_of_ceiling(setup, l, ladders, row.readings[crossing.above].level_dbfs, numbers);
        }
        add_headroom(setup, load, limit_percent, numbers);
        if (!row.trouble.empty())
            numbers.warn("steps-lost", row.trouble + "; steps were left out", "record again if it matters");
        numbers.curves.emplace_back("level", curve_of(load, row));
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.in_watts = true;
    measure.name = "burst-power";
    measure.summary = "power at a distortion limit inside short bursts, and its headroom";
    measure.fields = {
        {.name = "on_ms",
         .type = FieldType::number,
         .unit = "ms",
         .default_text = "20",
         .minimum = 2.0,
         .maximum = 1000.0,
         .help = "length of a burst, in whole cycles"},
        {.name = "off_ms",
         .type = FieldType::number,
         .unit = "ms",
         .default_text = "480",
         .minimum = 50.0,
         .maximum = 5000.0,
         .help = "between bursts, 20 dB lower"},
        {.name = "distortion_limit_percent",
         .type = FieldType::number,
         .unit = "%",
         .default_text = "1",
         .minimum = 0.05,
         .maximum = 40.0,
         .help = "THD inside the burst at which the power is given"},
        {.name = "continuous",
         .type = FieldType::text,
         .help = "id of the power test that the headroom is counted from"},
        {.name = "to_dbfs",
         .type = FieldType::number,
         .unit = "dBFS",
         .minimum = -60.0,
         .maximum = 0.0,
         .help =
             "level of the loudest bursts; left out: the bench's limit. The levels are the 12 dB up to it"},
    };
    measure.quantities = {
        {"burst_power_w", "W", true, "power inside a short burst when its distortion reaches the limit"},
        {"headroom_db", "dB", true, "how far that lies above the continuous power at the same limit"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::burst_power
