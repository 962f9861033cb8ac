#include "cli/measures/separation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "analysis/amplifier/faint_line.h"
#include "analysis/signal/harmonic_fit.h"
#include "capture/tone/tone_row.h"
#include "cli/measures/fields.h"
#include "cli/measures/placed_take.h"
#include "cli/measures/placing.h"
#include "cli/measures/scale.h"
#include "cli/measures/trusted_steps.h"

namespace assay::cli {

namespace {

using analysis::Quantity;
using capture::FaultKind;
using capture::Result;

constexpr double at_hz = 1000.0;
constexpr double db_per_relative = 20.0 / std::numbers::ln10;
constexpr double settling_s = 0.1;
constexpr double end_guard_s = 0.01;
constexpr double stands_out = 3.0;  // times its noise
constexpr double head_below_db = 10.0;
constexpr int harmonics_fitted = 5;

Result<void> check(const Setup& setup) {
    const auto refuse = [](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, text, mend);
    };
    if (setup.test->number("power_w"))
        return refuse("power_w: separation is measured at a level of the player, not at a power",
                      "give the level as drive_dbfs or drive_volts");
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
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

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (!takes.empty() || !level) return std::nullopt;
    std::vector<capture::RowStep> steps;
    for (const double frequency_hz : frequencies_of(setup))
        steps.push_back({capture::SteadySine{frequency_hz, 0.0}, *level, std::max(1.0, 24.0 / frequency_hz)});
    return capture::make_tone_row({.rate_hz = setup.tone_rate_hz,
                                   .steps = steps,
                                   .head_dbfs = *level - head_below_db,
                                   .mark_dbfs = *level,
                                   .code = setup.test->id + "/separation"});
}

struct Point {
    double frequency_hz = 0.0;
    double driven_v = 0.0;  // peak, both
    double idle_v = 0.0;
    double idle_doubt_v = 0.0;
    double idle_share = 1.0;
    double driven_share = 1.0;

    bool heard() const { return idle_v > stands_out * idle_doubt_v; }
    double separation_db() const { return 20.0 * std::log10(driven_v / idle_v); }
    double at_least_db() const {
        return 20.0 * std::log10(driven_v / std::max(stands_out * idle_doubt_v, 1e-300));
    }
};

Point read_point(const Setup& setup, const Take& take, const PlacedTake& placed, std::size_t step) {
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    const capture::Segment& segment = placed.steps[step];
    Point point;
    point.frequency_hz = std::get<capture::SteadySine>(segment.law).frequency_hz;
    const double length_s = static_cast<double>(segment.frames) / take.tone.rate_hz;
    const double from_s = placed.at_s(step, std::max(settling_s, 4.0 / point.frequency_hz));
    const double to_s = placed.at_s(step, length_s - end_guard_s);
    const std::vector<double> loud = load_volts(setup, placed, driven, from_s, to_s);
    const std::vector<double> quiet = load_volts(setup, placed, idle, from_s, to_s);
    const double guess_hz = point.frequency_hz / placed.placement.clock_ratio;
    const int harmonics = std::clamp(static_cast<int>(0.45 * placed.rate_hz / guess_hz), 1, harmonics_fitted);
    const analysis::HarmonicFit fit =
        analysis::fit_harmonics(loud, placed.rate_hz, guess_hz, {.harmonics = harmonics});
    point.driven_v = fit.amplitude();
    std::vector<double> lines;
    for (int k = 1; k <= harmonics; ++k) lines.push_back(fit.frequency_hz * k);
    const analysis::Line line = analysis::fit_lines(quiet, placed.rate_hz, lines).front();
    point.idle_v = line.amplitude();
    point.idle_doubt_v = line.doubt;
    point.driven_share = plus_share_of(setup, placed, driven, from_s, to_s);
    point.idle_share = plus_share_of(setup, placed, idle, from_s, to_s);
    return point;
}

Quantity separation_of(const Setup& setup, const Point& point) {
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    const Quantity loud = load_voltage(*setup.bench, driven, point.driven_v, point.driven_share);
    const Quantity quiet = load_voltage(*setup.bench, idle, point.idle_v, point.idle_share);
    Quantity separation = analysis::combine(
        point.separation_db(), "dB",
        {{&loud, db_per_relative / point.driven_v}, {&quiet, -db_per_relative / point.idle_v}});
    add_doubt(separation, "test:" + setup.test->id + ":noise",
              db_per_relative * point.idle_doubt_v / point.idle_v);
    return separation;
}

std::optional<capture::Fault> fault_in(const Setup& setup, const Take& take, const PlacedTake& placed) {
    for (std::size_t step = 0; step < placed.steps.size(); ++step) {
        const double length_s = static_cast<double>(placed.steps[step].frames) / take.tone.rate_hz;
        for (const std::size_t index : setup.test->loads) {
            const capture::Load& load = setup.bench->loads[index];
            const auto trouble = trouble_at(setup, placed, load, step, placed.at_s(step, 0.0),
                                            placed.at_s(step, length_s), true);
            if (trouble) return fault_of(take, load, *trouble);
        }
    }
    return std::nullopt;
}

void add_separation(const Setup& setup, const std::vector<Point>& points, TestResult& result) {
    analysis::Curve curve;
    curve.columns = {{"frequency_hz"}, {"separation_db"}, {"separation_at_least_db"}};
    const Point* best = nullptr;
    for (const Point& point : points) {
        curve.columns[0].values.push_back(point.frequency_hz);
        curve.columns[1].values.push_back(point.heard() ? point.separation_db()
                                                        : std::numeric_limits<double>::quiet_NaN());
        curve.columns[2].values.push_back(point.heard() ? point.separation_db() : point.at_least_db());
        if (point.frequency_hz == at_hz) best = &point;
    }
    if (best != nullptr && best->heard()) {
        result.whole.add("separation_1khz_db", separation_of(setup, *best));
    } else if (best != nullptr) {
        result.whole.add_absent(
            "separation_1khz_db",
            {"below-noise",
             fmt::format("better than {:.1f} dB, where the noise hides it", best->at_least_db()),
             "raise the level, or take less attenuation at the idle load, if the number matters"});
    }
    result.whole.curves.emplace_back("separation", std::move(curve));
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "separation";
    const auto placed = place_take(setup, takes);
    if (!placed) {
        result.fault = placed.error();
        return result;
    }
    const Take& take = takes.front();
    if (const auto fault = fault_in(setup, take, *placed)) {
        result.fault = fault;
        return result;
    }
    std::vector<Point> points;
    for (std::size_t step = 0; step < placed->steps.size(); ++step)
        points.push_back(read_point(setup, take, *placed, step));
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    const bool backwards =
        std::ranges::all_of(points, [](const Point& point) { return point.idle_v > point.driven_v; });
    if (backwards) {
        result.fault = capture::Fault{FaultKind::untrusted_capture,
                                      fmt::format("{}: {} is louder than {}, which should be the driven one",
                                                  file_of(take), idle.in_words(), driven.in_words()),
                                      std::nullopt, "check which channel the tone went into, and the probes"};
        return result;
    }
    result.conditions.emplace_back("driven", driven.name);
    result.conditions.emplace_back("idle", idle.name);
    result.conditions.emplace_back("drive_dbfs", placed->steps.front().level_dbfs);
    add_take_conditions(setup, take, placed->placement.start_s, 1e6 * (placed->placement.clock_ratio - 1.0),
                        result);
    for (auto& [name, value] : result.conditions) {
        if (name == "channels_driven") value = 1.0;
    }
    add_separation(setup, points, result);
    result.whole.warn("recorder-separation-unknown",
                      "what the sound card's own channels hear of each other is in the numbers",
                      "a card's loopback into one channel, the other terminated, shows its own separation");
    return result;
}

}  // namespace

Measure separation_measure() {
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

}  // namespace assay::cli
