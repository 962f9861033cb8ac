#include "cli/measures/separation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/level_rows.h"
#include "cli/measures/steps/separation_points.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli::separation {

namespace {

using analysis::Absent;
using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double at_hz = 1000.0;
constexpr double head_below_db = 10.0;
constexpr double range_db = 36.0;  // of the levels where only the power is known
constexpr double range_step_db = 6.0;

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    if (setup.test->number("power_w") && !std::isfinite(driven.resistance_ohm))
        return refuse(
            fmt::format("power_w: load \"{}\" has no resistance, so there is no power", driven.name),
            "give the level as drive_dbfs");
    if (driven.name == idle.name)
        return refuse("idle: is the driven " + std::string(driven.bare_input ? "input" : "load") + " itself",
                      "name that of another channel");
    for (const std::size_t output : driven.driven_by) {
        if (std::find(idle.driven_by.begin(), idle.driven_by.end(), output) == idle.driven_by.end()) continue;
        return refuse(fmt::format("driven: output \"{}\" reaches both \"{}\" and \"{}\"",
                                  setup.bench->outputs[output].name, driven.name, idle.name),
                      "give each channel an output of its own, and say so in driven_by");
    }
    for (const double frequency_hz : frequencies_of(setup)) {
        if (frequency_hz > highest_share_of_rate * setup.tone_rate_hz)
            return refuse(fmt::format("frequencies_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz",
                                      frequency_hz, setup.tone_rate_hz),
                          fmt::format("stay below {:.6g} Hz", highest_share_of_rate * setup.tone_rate_hz));
    }
    return check_level(setup);
}

capture::Tone row_of(const Setup& setup, const std::vector<double>& frequencies_hz,
                     const std::vector<double>& levels_dbfs) {
    std::vector<capture::RowStep> steps;
    for (const double frequency_hz : frequencies_hz) {
        for (const double level : levels_dbfs)
            steps.push_back(
                {capture::SteadySine{frequency_hz, 0.0}, level, std::max(1.0, 24.0 / frequency_hz)});
    }
    const double top = levels_dbfs.back();
    return capture::make_tone_row({.rate_hz = setup.tone_rate_hz,
                                   .steps = steps,
                                   .head_dbfs = top - head_below_db,
                                   .mark_dbfs = levels_dbfs.size() > 1 ? top - range_db / 2.0 : top,
                                   .code = setup.test->id + "/separation"});
}

double wanted_v(const Setup& setup, double frequency_hz) {
    return volts_for_power(setup.bench->loads[setup.test->loads[0]], *setup.test->number("power_w"),
                           frequency_hz);
}

/// Of a live bench's quiet take: the level at which the power asked for comes out.
std::variant<double, Absent> level_by_quiet_take(const Setup& setup, const Take& quiet);

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (!level && setup.live) {
        if (takes.empty()) return row_of(setup, {at_hz}, {quiet_dbfs(setup)});
        if (takes.size() > 1) return std::nullopt;
        const auto found = level_by_quiet_take(setup, takes.front());
        if (!std::holds_alternative<double>(found)) return std::nullopt;
        return row_of(setup, frequencies_of(setup), {std::get<double>(found)});
    }
    if (!takes.empty()) return std::nullopt;
    // Where the gain is not known, each frequency goes through a few levels, and is read at the asked power.
    return row_of(
        setup, frequencies_of(setup),
        level ? std::vector<double>{*level} : rising_levels(limit_dbfs(setup), range_db, range_step_db));
}

Quantity separation_of(const Setup& setup, const SeparationPoint& point) {
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    const Quantity loud = load_voltage(setup, driven, point.driven_v, point.driven_share, point.frequency_hz);
    const Quantity quiet = load_voltage(setup, idle, point.idle_v, point.idle_share, point.frequency_hz);
    Quantity separation = analysis::combine(
        point.separation_db(), "dB",
        {{&loud, db_per_relative / point.driven_v}, {&quiet, -db_per_relative / point.idle_v}});
    add_doubt(separation, "test:" + setup.test->id + ":interpolation", point.interpolation_db);
    add_doubt(separation, "test:" + setup.test->id + ":noise",
              db_per_relative * point.noise_v / point.idle_v);
    add_doubt(separation, "test:" + setup.test->id + ":hum",
              db_per_relative * point.hum_doubt_v / point.idle_v);
    return separation;
}

std::optional<capture::Fault> fault_in(const Setup& setup, const Take& take, const PlacedTake& placed,
                                       std::size_t step) {
    const double length_s = static_cast<double>(placed.steps[step].frames) / take.tone.rate_hz;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        const auto trouble =
            trouble_at(setup, placed, load, step, placed.at_s(step, 0.0), placed.at_s(step, length_s), true);
        if (trouble) return fault_of(take, load, *trouble);
    }
    return std::nullopt;
}

std::variant<double, Absent> level_by_quiet_take(const Setup& setup, const Take& quiet) {
    const auto placed = place_take(setup, quiet);
    if (placed && !fault_in(setup, quiet, *placed, 0)) {
        const SeparationPoint point = read_separation_points(setup, quiet, *placed).front();
        return level_by_gain(setup, placed->steps.front().level_dbfs, point.driven_v / std::numbers::sqrt2,
                             wanted_v(setup, at_hz));
    }
    return quiet_not_read();
}

/// Read between two levels of one frequency, where the driven load has the volts; straight lines over the
/// logarithm of the volts.
SeparationPoint between(const SeparationPoint& low, const SeparationPoint& high, double driven_v) {
    const double part = std::log(driven_v / low.driven_v) / std::log(high.driven_v / low.driven_v);
    const auto mix = [&](double a, double b) {
        return std::exp((1.0 - part) * std::log(std::max(a, 1e-300)) + part * std::log(std::max(b, 1e-300)));
    };
    SeparationPoint point = high;
    point.driven_v = driven_v;
    point.idle_v = mix(low.idle_v, high.idle_v);
    point.noise_v = mix(low.noise_v, high.noise_v);
    point.hum_doubt_v = std::max(low.hum_doubt_v, high.hum_doubt_v);
    // A quarter of the step is the most that a line of even bend leaves between its ends; a third of that.
    if (low.heard() && high.heard())
        point.interpolation_db = std::abs(high.separation_db() - low.separation_db()) / 12.0;
    return point;
}

/// The points that count, one a frequency; fewer where the power asked for lies beyond the levels, with the
/// reason for 1 kHz.
struct Points {
    std::vector<SeparationPoint> at{};
    std::vector<double> missing_hz{};
    Absent why{};
};

Result<Points> points_of(const Setup& setup, const Take& take, const PlacedTake& placed, bool by_staircase) {
    Points points;
    const std::vector<SeparationPoint> read = read_separation_points(setup, take, placed);
    std::size_t step = 0;
    while (step < placed.steps.size()) {
        const double frequency_hz = std::get<capture::SteadySine>(placed.steps[step].law).frequency_hz;
        std::size_t end = step;
        std::vector<SeparationPoint> levels;
        for (; end < placed.steps.size() &&
               std::get<capture::SteadySine>(placed.steps[end].law).frequency_hz == frequency_hz;
             ++end)
            levels.push_back(read[end]);
        const double peak_v = by_staircase ? std::numbers::sqrt2 * wanted_v(setup, frequency_hz) : 0.0;
        std::size_t above = 0;  // first level with the volts
        while (by_staircase && above < levels.size() && levels[above].driven_v < peak_v) ++above;
        const bool inside = !by_staircase || (above > 0 && above < levels.size());
        const std::size_t last = std::min(above, levels.size() - 1);
        // A step above the power that is asked for may overload: nothing rests on it.
        for (std::size_t used = inside && by_staircase ? last - 1 : last; used <= last; ++used) {
            if (const auto fault = fault_in(setup, take, placed, step + used))
                return tl::unexpected<capture::Fault>(*fault);
        }
        if (!by_staircase) {
            points.at.push_back(levels.front());
        } else if (inside) {
            points.at.push_back(between(levels[above - 1], levels[above], peak_v));
        } else {
            points.missing_hz.push_back(frequency_hz);
            const SeparationPoint& nearest = levels[last];
            points.why = {
                above == 0 ? "power-below-range" : "power-not-reached",
                fmt::format("the {} step gave {:.3g} V at {:.6g} Hz, {:.3g} V were asked for",
                            above == 0 ? "faintest" : "loudest", nearest.driven_v / std::numbers::sqrt2,
                            frequency_hz, peak_v / std::numbers::sqrt2),
                above == 0 ? "turn the amplifier's gain down, or ask for more power"
                           : "turn the amplifier's gain up, or ask for less power"};
        }
        step = end;
    }
    return points;
}

void add_separation(const Setup& setup, const Points& points, TestResult& result) {
    analysis::Curve curve;
    curve.columns = {
        {"frequency_hz"}, {"separation_db"}, {"separation_at_least_db"}, {"expanded_uncertainty_db"}};
    const SeparationPoint* best = nullptr;
    for (const SeparationPoint& point : points.at) {
        curve.columns[0].values.push_back(point.frequency_hz);
        curve.columns[1].values.push_back(point.heard() ? point.separation_db()
                                                        : std::numeric_limits<double>::quiet_NaN());
        curve.columns[2].values.push_back(point.heard() ? point.separation_db() : point.at_least_db());
        curve.columns[3].values.push_back(point.heard() ? separation_of(setup, point).expanded_uncertainty()
                                                        : std::numeric_limits<double>::quiet_NaN());
        if (point.frequency_hz == at_hz) best = &point;
    }
    if (best == nullptr) result.whole.add_absent("separation_1khz_db", points.why);
    for (const double missing_hz : points.missing_hz) {
        if (best != nullptr)
            result.whole.warn(points.why.code,
                              fmt::format("no number at {:.6g} Hz: {}", missing_hz, points.why.text),
                              points.why.advice);
    }
    if (best != nullptr && best->heard()) {
        result.whole.add("separation_1khz_db", separation_of(setup, *best));
    } else if (best != nullptr) {
        result.whole.add_absent(
            "separation_1khz_db",
            {"below-noise",
             fmt::format("better than {:.1f} dB, where {} hides it", best->at_least_db(),
                         best->hum_doubt_v > best->noise_v ? "hum" : "the noise"),
             "raise the level, or take less attenuation at the idle one, if the number matters"});
    }
    result.whole.curves.emplace_back("separation", std::move(curve));
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "separation";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const bool by_power = setup.test->number("power_w").has_value();
    const Take& take = takes.back();
    const auto placed = place_take(setup, take);
    if (!placed) {
        result.fault = placed.error();
        return result;
    }
    if (only_quiet(setup, takes)) {
        result.whole.add_absent("separation_1khz_db", why_not_gone_on(level_by_quiet_take(setup, take)));
        add_take_conditions(setup, take, placed->placement.start_s,
                            1e6 * (placed->placement.clock_ratio - 1.0), result);
        return result;
    }
    const auto read = points_of(setup, take, *placed, by_power && !setup.live);
    if (!read) {
        result.fault = read.error();
        return result;
    }
    const std::vector<SeparationPoint>& points = read->at;
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    const bool backwards = !points.empty() && std::ranges::all_of(points, [](const SeparationPoint& point) {
        return point.idle_v > point.driven_v;
    });
    if (backwards) {
        result.fault = capture::Fault{FaultKind::untrusted_capture,
                                      fmt::format("{}: {} is louder than {}, which should be the driven one",
                                                  file_of(take), idle.in_words(), driven.in_words()),
                                      std::nullopt, "check which channel the tone went into, and the probes"};
        return result;
    }
    result.conditions.emplace_back("driven", driven.name);
    result.conditions.emplace_back("idle", idle.name);
    if (by_power) result.conditions.emplace_back("power_asked_w", *setup.test->number("power_w"));
    if (!by_power || setup.live)
        result.conditions.emplace_back("drive_dbfs", placed->steps.front().level_dbfs);
    for (const SeparationPoint& point : points) {
        if (point.frequency_hz == at_hz && std::isfinite(driven.resistance_ohm))
            result.conditions.emplace_back(
                "power_w", 0.5 * point.driven_v * point.driven_v * conductance_at(driven, at_hz));
    }
    add_take_conditions(setup, take, placed->placement.start_s, 1e6 * (placed->placement.clock_ratio - 1.0),
                        result);
    for (auto& [name, value] : result.conditions) {
        if (name == "channels_driven") value = 1.0;
    }
    add_separation(setup, *read, result);
    warn_of_hum(points, result.whole);
    result.whole.warn("recorder-separation-unknown",
                      "what the sound card's own channels hear of each other is in the numbers",
                      "a card's loopback into one channel, the other terminated, shows its own separation");
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "separation";
    measure.summary = "how much of a driven channel is heard in an idle one, against frequency";
    measure.fields = {
        {.name = "driven",
         .type = FieldType::text,
         .required = true,
         .help = "the load (of a line unit: input) that is driven"},
        {.name = "idle",
         .type = FieldType::text,
         .required = true,
         .help = "the one that is not: its channel's input is terminated"},
        {.name = "frequencies_hz",
         .type = FieldType::numbers,
         .unit = "Hz",
         .default_text = "[20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]",
         .minimum = 10.0,
         .maximum = 40000.0,
         .help = "where it is measured; 1000 is always added"},
    };
    measure.quantities = {
        {"separation_1khz_db", "dB", false, "the driven channel's volts over the idle one's, at 1 kHz"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::separation
