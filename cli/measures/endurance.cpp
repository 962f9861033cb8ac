#include "cli/measures/endurance.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/median.h"
#include "analysis/units.h"
#include "cli/measures/endurance_power.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/held_recording.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/trusted_steps.h"
#include "cli/measures/supply_readings.h"

namespace assay::cli::endurance {

namespace {

using analysis::HeldEnd;
using analysis::Quantity;

constexpr double longest_file_minutes = 5.0;  // a longer run is a file of a minute, played in a loop
constexpr double loop_s = 60.0;
constexpr double fade_s = 0.005;
constexpr double silence_s = 0.5;
constexpr double rows_wanted = 240.0;
constexpr double most_rows = 1000.0;
constexpr double noise_row_periods = 3.0;
constexpr double sine_crest_db = 3.0;
constexpr double least_noise_crest_db = 6.0;
constexpr double noise_middle_hz = 424.0;  // geometric middle of the noise's corners

double minutes_of(const Setup& setup) {
    return field_number(*setup.test, "minutes");
}

bool is_noise(const Setup& setup) {
    return std::abs(field_number(*setup.test, "crest_factor_db") - sine_crest_db) > 0.02;
}

/// At which the load's inductance and the scale's corner count.
double frequency_of(const Setup& setup) {
    return is_noise(setup) ? noise_middle_hz : field_number(*setup.test, "frequency_hz");
}

/// Seconds of a row: two at least, a minute at most unless the log would grow beyond a thousand rows.
double row_seconds(const Setup& setup) {
    const double all_s = 60.0 * minutes_of(setup);
    const double row_s = std::max(std::clamp(all_s / rows_wanted, 2.0, 60.0), all_s / most_rows);
    return is_noise(setup) ? std::max(row_s, noise_row_periods * capture::noise_period_s(setup.tone_rate_hz))
                           : row_s;
}

capture::Result<void> check(const Setup& setup) {
    const double crest_db = field_number(*setup.test, "crest_factor_db");
    if (is_noise(setup) && crest_db < least_noise_crest_db) {
        return capture::fail(
            capture::FaultKind::bad_input_file,
            fmt::format("crest_factor_db: {:.4g} dB lies between a sine (3) and music-like noise "
                        "({:.4g} and more)",
                        crest_db, least_noise_crest_db),
            "leave it out for a sine; 12 stands for open music, 6 to 9 for compressed");
    }
    if (auto result = check_power(setup); !result) return result;
    if (!is_noise(setup)) {
        if (auto result = check_frequency(setup); !result) return result;
    }
    return check_level(setup);
}

/// Live and short runs play the whole; a long run made elsewhere plays one minute over and over, with a fade
/// to nothing of a hundredth of a second where it begins again.
std::optional<capture::Tone> held_tone(const Setup& setup, double level_dbfs) {
    const double rate_hz = setup.tone_rate_hz;
    const auto frames = [&](double seconds) {
        return static_cast<std::int64_t>(std::llround(seconds * rate_hz));
    };
    const double minutes = minutes_of(setup);
    const bool looped = !setup.live && minutes > longest_file_minutes;
    const std::int64_t lead = looped ? 0 : frames(silence_s);
    capture::Segment held;
    held.first_frame = lead;
    held.frames = frames(looped ? loop_s : 60.0 * minutes);
    held.law = capture::SteadySine{field_number(*setup.test, "frequency_hz"), 0.0};
    if (is_noise(setup)) {
        const double period_s = capture::noise_period_s(rate_hz);
        held.law = capture::ShapedNoise{period_s, field_number(*setup.test, "crest_factor_db")};
        // Whole periods, so that the noise goes on across the seam.
        if (looped) held.frames = frames(std::ceil(loop_s / period_s) * period_s);
    }
    held.level_dbfs = level_dbfs;
    held.fade_frames = frames(fade_s);
    capture::Tone tone;
    tone.rate_hz = rate_hz;
    tone.frames = held.frames + 2 * lead;
    tone.segments.push_back(held);
    return tone;
}

/// Peak over RMS of what is played, re that of a sine, dB: so much louder its peaks are for the same power.
double above_sine_db(const Setup& setup) {
    if (!is_noise(setup)) return 0.0;
    return field_number(*setup.test, "crest_factor_db") - analysis::decibels(std::numbers::sqrt2);
}

/// Where a power is asked for, a live bench plays a quiet tone first.
std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (level) return takes.empty() ? held_tone(setup, *level) : std::nullopt;
    if (!setup.live) return std::nullopt;
    if (takes.empty()) return quiet_tone(setup, frequency_of(setup), "gain");
    if (!only_quiet(setup, takes)) return std::nullopt;
    const auto found = level_by_quiet_tone(setup, takes.front());
    if (!std::holds_alternative<double>(found)) return std::nullopt;
    const double peak_dbfs = std::get<double>(found) + above_sine_db(setup);
    if (peak_dbfs > limit_dbfs(setup)) return std::nullopt;
    return held_tone(setup, peak_dbfs);
}

/// Live, a load is heated no longer than the run lasts and a few rows more, which show that it was no gap.
std::optional<capture::FallEnd> end_early(const Setup& setup) {
    capture::FallEnd end;
    for (const std::size_t index : setup.test->loads)
        end.channels.push_back(setup.bench->inputs[setup.bench->loads[index].plus].channel);
    end.fall_db = field_number(*setup.test, "end_fall_db");
    end.block_s = is_noise(setup) ? capture::noise_period_s(setup.tone_rate_hz) : 1.0;
    end.hold_s = 3.5 * row_seconds(setup);
    return end;
}

const char* word_of(HeldEnd end) {
    switch (end) {
        case HeldEnd::time:
            return "time";
        case HeldEnd::fall:
            return "fall of the output";
        case HeldEnd::cut_out:
            return "output gone";
        case HeldEnd::recording_ended:
            return "end of the recording";
        case HeldEnd::supply:
            return "supply at its end";
    }
    return "";
}

void warn(const HeldLoad& held, const analysis::HeldOutcome& outcome, Numbers& numbers) {
    if (outcome.ended_by == HeldEnd::cut_out) {
        numbers.warn(
            "output-gone",
            fmt::format("the output was gone at {:.2f} minutes{}", outcome.run_minutes,
                        outcome.returns > 0 ? fmt::format(", and came back ({} times)", outcome.returns)
                                            : std::string{}),
            "protection, a fuse, a flat battery, or a player that stopped: see which it was");
    }
    if (held.left_out > 0) {
        numbers.warn(
            "stretches-left-out",
            fmt::format("uneven stretches of the log (a lost or doubled block, a gap of the player) are left "
                        "out: {}",
                        held.left_out),
            "where there are many, close other programs and use a larger buffer");
    }
}

void add_power(const Setup& setup, const capture::Load& load, const HeldLoad& held,
               const analysis::HeldOutcome& outcome, const std::string& source, Numbers& numbers) {
    if (load.bare_input || std::isinf(load.resistance_ohm)) return;
    const double plus_share = load.minus ? 0.5 : 1.0;
    const double frequency_hz = frequency_of(setup);
    const analysis::HeldSquare square = analysis::held_square(held.rows, outcome.run_minutes);
    const double volts = std::sqrt(square.mean);
    Quantity power = power_at(load, load_voltage(setup, load, volts, plus_share, frequency_hz), frequency_hz);
    add_doubt(power, source + "ends", power.value * square.doubt / square.mean);
    const double hours = outcome.run_minutes / 60.0;
    Quantity energy = analysis::combine(power.value * hours, "Wh", {{&power, hours}});
    if (outcome.ended_by != HeldEnd::time && outcome.ended_by != HeldEnd::recording_ended) {
        // Where the end is in doubt, so is what was given until then: an end later by some time adds the
        // power at the end for so long, and draws the mean towards it.
        const double run_doubt = outcome.resolution_minutes / std::numbers::sqrt3;
        const double end_power_w = power.value * square.at_end / square.mean;
        add_doubt(energy, source + "time", end_power_w * run_doubt / 60.0);
        add_doubt(power, source + "time", (end_power_w - power.value) * run_doubt / outcome.run_minutes);
    }
    numbers.add("mean_power_w", power);
    numbers.add("load_energy_wh", energy);
}

/// Highest value over RMS as recorded; the middle row's, and how far the rows lie from it.
void add_crest(const std::string& source, const HeldLoad& held, Numbers& numbers) {
    std::vector<double> decibels;
    for (const analysis::HeldRow& row : held.rows) decibels.push_back(analysis::decibels(row.crest));
    Quantity crest{analysis::median(decibels), "dB", {}};
    double spread = 0.0;
    for (const double value : decibels) spread += std::pow(value - crest.value, 2.0);
    add_doubt(crest, source + "crest", std::sqrt(spread / static_cast<double>(decibels.size())));
    numbers.add("crest_factor_db", crest);
}

analysis::Curve log_of(const Setup& setup, const capture::Load& load, const HeldLoad& held) {
    const bool noise = is_noise(setup);
    analysis::Curve log{
        {{"minutes"}, {"voltage_v"}, {"power_w"}, {noise ? "crest_factor_db" : "thd_percent"}}};
    const double conductance = conductance_at(load, frequency_of(setup));
    for (const analysis::HeldRow& row : held.rows) {
        log.columns[0].values.push_back(row.minutes);
        log.columns[1].values.push_back(row.total_v);
        log.columns[2].values.push_back(row.total_v * row.total_v * conductance);
        log.columns[3].values.push_back(noise ? analysis::decibels(row.crest) : 100.0 * row.thd);
    }
    if (!std::isfinite(load.resistance_ohm)) log.columns.erase(log.columns.begin() + 2);
    return log;
}

Numbers numbers_of(const Setup& setup, const capture::Load& load, const HeldLoad& held,
                   const analysis::HeldOutcome& outcome) {
    Numbers numbers;
    const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
    if (outcome.ended_by == HeldEnd::recording_ended) {
        numbers.add_absent(
            "run_minutes",
            {"recording-short",
             fmt::format("the recording ends after {:.1f} of {:.6g} minutes, and the unit still played",
                         outcome.run_minutes, minutes_of(setup)),
             "record for the whole time, or ask for fewer minutes"});
    } else {
        Quantity run{outcome.run_minutes, "min", {}};
        // Rectangular (JCGM 100, 4.3.7), and the minutes are the player's.
        add_doubt(run, source + "time", outcome.resolution_minutes / std::numbers::sqrt3);
        add_clock_doubt(run);
        numbers.add("run_minutes", run);
    }
    Quantity fall{outcome.fall_db, "dB", {}};  // the scale is the same at both ends, and cancels
    add_doubt(fall, source + "noise", outcome.fall_doubt_db);
    numbers.add("output_fall_db", fall);
    add_power(setup, load, held, outcome, source, numbers);
    if (is_noise(setup)) add_crest(source, held, numbers);
    numbers.curves.emplace_back("log", log_of(setup, load, held));
    warn_of_other_start(setup, load, frequency_of(setup), held, numbers);
    warn(held, outcome, numbers);
    return numbers;
}

/// The supply's end, where it comes first, is the end of the run, and of the fall until then.
void end_by_supply(const Setup& setup, const HeldLoad& held, const analysis::HeldBlocks& blocks,
                   analysis::HeldOutcome& outcome) {
    const auto crossing = supply_cut_off(*setup.test);
    if (!crossing || crossing->minutes >= outcome.run_minutes) return;
    const analysis::HeldFall fall = analysis::held_fall(held.rows, blocks, crossing->minutes);
    outcome.ended_by = HeldEnd::supply;
    outcome.run_minutes = crossing->minutes;
    outcome.resolution_minutes = crossing->doubt_minutes * std::numbers::sqrt3;
    outcome.fall_db = fall.fall_db;
    outcome.fall_doubt_db = std::hypot(fall.doubt_db, fall.db_per_minute * crossing->doubt_minutes);
}

void add_conditions(const Setup& setup, const Take& take, const HeldRecording& held, TestResult& result) {
    if (is_noise(setup)) {
        result.conditions.emplace_back("signal", std::string("music-like noise"));
        result.conditions.emplace_back("crest_factor_asked_db", field_number(*setup.test, "crest_factor_db"));
    } else {
        result.conditions.emplace_back("frequency_hz", field_number(*setup.test, "frequency_hz"));
    }
    result.conditions.emplace_back("drive_dbfs", take.tone.segments.front().level_dbfs);
    add_take_conditions(setup, take, held.start_s, held.clock_ppm, result);
    result.conditions.emplace_back("minutes_asked", minutes_of(setup));
    if (held.seams == 0) return;
    result.conditions.emplace_back("loop_seams", static_cast<double>(held.seams));
    result.conditions.emplace_back("loop_gap_ms", std::round(1e3 * std::max(0.0, held.seam_gap_s)));
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "endurance";
    const auto power_w = setup.test->number("power_w");
    if (power_w && !setup.live) {
        result.fault = capture::Fault{
            capture::FaultKind::bad_input_file,
            "power_w: the level is held from the start, and only a live bench can hear the gain before that",
            std::nullopt, "find the level by a distortion test at that power, then give it as drive_dbfs"};
        return result;
    }
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    if (power_w) result.conditions.emplace_back("power_asked_w", *power_w);
    if (only_quiet(setup, takes))
        return nothing_held(setup, takes.front(), is_noise(setup), std::move(result));
    const Take& take = takes.back();
    const auto held = read_held(setup, take, row_seconds(setup));
    if (!held) {
        result.fault = held.error();
        return result;
    }
    add_conditions(setup, take, *held, result);
    HeldEnding ending{minutes_of(setup), false, 0.0, std::nullopt};
    std::vector<Quantity> delivered;
    for (std::size_t l = 0; l < held->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const HeldLoad& part = held->loads[l];
        if (part.overloaded > 0) {
            result.fault =
                fault_of(take, load,
                         {fmt::format("input overload: full scale at {:.2f} s", part.overloaded_at_s), true});
            return result;
        }
        const auto blocks =
            held->blocks(l, is_noise(setup) ? std::nullopt
                                            : std::optional(1.0 / field_number(*setup.test, "frequency_hz")));
        auto outcome = analysis::held_outcome(
            part.rows, blocks,
            {.minutes = minutes_of(setup), .end_fall_db = field_number(*setup.test, "end_fall_db")});
        end_by_supply(setup, part, blocks, *outcome);
        result.conditions.emplace_back("ended_by." + load.name, std::string(word_of(outcome->ended_by)));
        result.loads.emplace_back(load.name, numbers_of(setup, load, part, *outcome));
        if (outcome->run_minutes < ending.minutes) {
            ending.minutes = outcome->run_minutes;
            ending.doubt_minutes = outcome->resolution_minutes / std::numbers::sqrt3;
        }
        if (outcome->ended_by == HeldEnd::fall || outcome->ended_by == HeldEnd::cut_out)
            ending.output_ended = true;
        if (const Quantity* energy = result.loads.back().second.find("load_energy_wh"))
            delivered.push_back(*energy);
    }
    // Loads that ended at different times: the supply went on, and what it gave is not told apart.
    const bool together = std::all_of(result.loads.begin(), result.loads.end(), [&](const auto& entry) {
        const Quantity* run = entry.second.find("run_minutes");
        return run != nullptr && run->value <= 1.02 * ending.minutes;
    });
    if (together && delivered.size() == held->loads.size()) ending.delivered_wh = analysis::sum(delivered);
    add_supply_numbers(*setup.test, ending, result.whole);
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "endurance";
    measure.summary =
        "a sine or music-like noise held for minutes to hours: how long the output lasts, how far it falls, "
        "what the supply gives";
    measure.fields = {
        {.name = "minutes",
         .type = FieldType::number,
         .unit = "min",
         .default_text = "30",
         .minimum = 0.5,
         .maximum = 1440.0,
         .help = "how long the level is held"},
        {.name = "crest_factor_db",
         .type = FieldType::number,
         .unit = "dB",
         .default_text = "3",
         .minimum = 3.0,
         .maximum = 20.0,
         .help = "peak over RMS of what is played: 3 is a sine, 6 to 20 music-like noise"},
        {.name = "end_fall_db",
         .type = FieldType::number,
         .unit = "dB",
         .default_text = "1",
         .minimum = 0.1,
         .maximum = 12.0,
         .help = "the run has ended when the output has fallen so far"},
        {.name = "end_supply_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 0.1,
         .maximum = 500.0,
         .help = "the run has ended when the readings of the supply have fallen to this"},
        supply_readings_field(),
    };
    measure.quantities = {
        {"run_minutes", "min", true,
         "time until the output fell, went away, the supply was down, or the time was up"},
        {"output_fall_db", "dB", true, "fall of the volts from the start to that end"},
        {"mean_power_w", "W", true, "power into the load, on average until that end"},
        {"load_energy_wh", "Wh", true, "energy that the load took until that end"},
        {"crest_factor_db", "dB", true, "peak over RMS of the noise, as it came out of the unit"},
        {"supply_energy_wh", "Wh", false, "energy that the supply gave, by meter readings"},
        {"supply_charge_ah", "Ah", false, "charge that the supply gave, by meter readings"},
        {"efficiency_percent", "%", false, "energy into the loads, of what the supply gave"},
        {"battery_run_minutes", "min", false, "time that the unit ran on this battery at this level"},
    };
    measure.check = check;
    measure.next = next;
    measure.end_early = end_early;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::endurance
