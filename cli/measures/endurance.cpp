#include "cli/measures/endurance.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "cli/measures/fields.h"
#include "cli/measures/held_recording.h"
#include "cli/measures/placed_take.h"
#include "cli/measures/placing.h"
#include "cli/measures/scale.h"
#include "cli/measures/trusted_steps.h"

namespace assay::cli {

namespace {

using analysis::HeldEnd;

constexpr double longest_file_minutes = 5.0;  // a longer run is a file of a minute, played in a loop
constexpr double loop_s = 60.0;
constexpr double fade_s = 0.005;
constexpr double silence_s = 0.5;
constexpr double rows_wanted = 240.0;
constexpr double most_rows = 1000.0;
constexpr double sine_crest_db = 3.0;

double minutes_of(const Setup& setup) {
    return field_number(*setup.test, "minutes");
}

/// Seconds of a row: a second at least, a minute at most unless the log would grow beyond a thousand rows.
double row_seconds(double minutes) {
    return std::max(std::clamp(60.0 * minutes / rows_wanted, 2.0, 60.0), 60.0 * minutes / most_rows);
}

capture::Result<void> check(const Setup& setup) {
    if (std::abs(field_number(*setup.test, "crest_factor_db") - sine_crest_db) > 0.02) {
        return capture::fail(
            capture::FaultKind::bad_input_file,
            "crest_factor_db: music-like noise cannot be measured yet, only a sine (3 dB)",
            "leave it out, and take a lower level for a load or a unit that a sine heats too much");
    }
    if (setup.test->number("power_w")) {
        return capture::fail(capture::FaultKind::bad_input_file,
                             "power_w: this measure holds the level that it is told",
                             "give the level as drive_dbfs or drive_volts");
    }
    if (auto result = check_frequency(setup); !result) return result;
    return check_level(setup);
}

/// Live and short runs play the whole; a long run made elsewhere plays one minute over and over, with a fade
/// to nothing of a hundredth of a second where it begins again.
std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    if (!takes.empty()) return std::nullopt;
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
    held.level_dbfs = drive_dbfs(setup).value_or(-20.0);
    held.fade_frames = frames(fade_s);
    capture::Tone tone;
    tone.rate_hz = rate_hz;
    tone.frames = held.frames + 2 * lead;
    tone.segments.push_back(held);
    return tone;
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
    }
    return "";
}

void warn(const HeldLoad& held, const analysis::HeldOutcome& outcome, Findings& findings) {
    if (outcome.ended_by == HeldEnd::cut_out) {
        findings.warn(
            "output-gone",
            fmt::format("the output was gone at {:.2f} minutes{}", outcome.run_minutes,
                        outcome.returns > 0 ? fmt::format(", and came back ({} times)", outcome.returns)
                                            : std::string{}),
            "protection, a fuse, a flat battery, or a player that stopped: see which it was");
    }
    if (held.left_out > 0) {
        findings.warn(
            "stretches-left-out",
            fmt::format("{} half seconds of the log were uneven (the file's begin in a loop, a lost or "
                        "doubled block) and are left out",
                        held.left_out),
            "where there are many, close other programs and use a larger buffer");
    }
}

Findings findings_of(const Setup& setup, const capture::Load& load, const HeldLoad& held,
                     const analysis::HeldOutcome& outcome) {
    Findings findings;
    const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
    if (outcome.ended_by == HeldEnd::recording_ended) {
        findings.add_absent(
            "run_minutes",
            {"recording-short",
             fmt::format("the recording ends after {:.1f} of {:.6g} minutes, and the unit still played",
                         outcome.run_minutes, minutes_of(setup)),
             "record for the whole time, or ask for fewer minutes"});
    } else {
        analysis::Quantity run{outcome.run_minutes, "min", {}};
        // Rectangular, of the width of a row or a block at each side (JCGM 100, 4.3.7).
        add_doubt(run, source + "time", outcome.resolution_minutes / std::numbers::sqrt3);
        findings.add("run_minutes", run);
    }
    analysis::Quantity fall{outcome.fall_db, "dB", {}};  // the scale is the same at both ends, and cancels
    add_doubt(fall, source + "noise", outcome.fall_doubt_db);
    findings.add("output_fall_db", fall);

    analysis::Curve log{{{"minutes"}, {"voltage_v"}, {"power_w"}, {"thd_percent"}}};
    const double conductance = conductance_at(load, field_number(*setup.test, "frequency_hz"));
    for (const analysis::HeldRow& row : held.rows) {
        log.columns[0].values.push_back(row.minutes);
        log.columns[1].values.push_back(row.total_v);
        log.columns[2].values.push_back(row.total_v * row.total_v * conductance);
        log.columns[3].values.push_back(100.0 * row.thd);
    }
    if (load.bare_input) log.columns.erase(log.columns.begin() + 2);
    findings.curves.emplace_back("log", std::move(log));
    warn(held, outcome, findings);
    return findings;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "endurance";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const Take& take = takes.front();
    const double minutes = minutes_of(setup);
    const auto held = read_held(setup, take, row_seconds(minutes));
    if (!held) {
        result.fault = held.error();
        return result;
    }
    result.conditions.emplace_back("frequency_hz", field_number(*setup.test, "frequency_hz"));
    add_take_conditions(setup, take, held->start_s, held->clock_ppm, result);
    result.conditions.emplace_back("minutes_asked", minutes);
    for (std::size_t l = 0; l < held->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const HeldLoad& part = held->loads[l];
        if (part.overloaded > 0) {
            result.fault =
                fault_of(take, load,
                         {fmt::format("input overload: full scale at {:.2f} s", part.overloaded_at_s), true});
            return result;
        }
        const auto outcome = analysis::held_outcome(part.rows, part.block_levels,
                                                    {.minutes = minutes,
                                                     .end_fall_db = field_number(*setup.test, "end_fall_db"),
                                                     .block_s = held_block_s});
        result.conditions.emplace_back("ended_by." + load.name, std::string(word_of(outcome->ended_by)));
        result.loads.emplace_back(load.name, findings_of(setup, load, part, *outcome));
    }
    return result;
}

}  // namespace

Measure endurance_measure() {
    Measure measure;
    measure.name = "endurance";
    measure.summary = "a sine held for minutes to hours: how long the output lasts, and how far it falls";
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
         .help = "peak over RMS of what is played; only 3, a sine, so far"},
        {.name = "end_fall_db",
         .type = FieldType::number,
         .unit = "dB",
         .default_text = "1",
         .minimum = 0.1,
         .maximum = 12.0,
         .help = "the run has ended when the output has fallen so far"},
    };
    measure.quantities = {
        {"run_minutes", "min", true, "time until the output fell, went away, or the time was up"},
        {"output_fall_db", "dB", true, "fall of the volts from the start to that end"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli
