#include "cli/measures/steps/separation_points.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

#include "analysis/amplifier/background_line.h"
#include "analysis/amplifier/faint_line.h"
#include "analysis/signal/harmonic_fit.h"
#include "analysis/units.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::HeardLine;
using analysis::Line;

constexpr double settling_s = 0.1;
constexpr double line_guard_s = 0.01;
constexpr double stands_out = 3.0;  // times its doubt
constexpr int harmonics_fitted = 5;
constexpr std::array<double, 2> mains_hz{50.0, 60.0};
constexpr double near_mains_hz = 1.5;      // about what a step of a second tells apart
constexpr double highest_hum_hz = 1000.0;  // hum beyond is far below crosstalk (common practice, no source)
constexpr double apart = 1.6;              // lines that are fitted together, times the step's length
// Of the hum, by which it and the tone do not simply add: output stages bend most where they pass zero.
// Common practice, no source.
constexpr double not_adding = 0.025;
constexpr double matters = 0.25;  // of the tone in the idle channel, from which the hum is told

bool hum_may_be_at(double frequency_hz) {
    return frequency_hz < highest_hum_hz + near_mains_hz && std::ranges::any_of(mains_hz, [&](double mains) {
               const double multiple = std::max(std::round(frequency_hz / mains), 1.0);
               return std::abs(frequency_hz - multiple * mains) < near_mains_hz;
           });
}

/// What one step tells: its own point, and in its idle channel the lines at which hum may disturb other
/// steps.
struct HeardStep {
    SeparationPoint point{};
    Line tone{};
    double middle_s = 0.0;
    std::vector<Line> background{};  // frequencies by the recorder's clock
};

double tone_of(const PlacedTake& placed, std::size_t step) {
    return std::get<capture::SteadySine>(placed.steps[step].law).frequency_hz;
}

/// Frequencies of the test at which hum may lie, each once.
std::vector<double> hum_frequencies(const PlacedTake& placed) {
    std::vector<double> found;
    for (std::size_t step = 0; step < placed.steps.size(); ++step) {
        const double frequency_hz = tone_of(placed, step);
        if (hum_may_be_at(frequency_hz) && std::ranges::find(found, frequency_hz) == found.end())
            found.push_back(frequency_hz);
    }
    return found;
}

HeardStep hear(const Setup& setup, const Take& take, const PlacedTake& placed, std::size_t step,
               std::span<const double> hum_hz) {
    const capture::Load& driven = setup.bench->loads[setup.test->loads[0]];
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    HeardStep heard;
    SeparationPoint& point = heard.point;
    point.frequency_hz = tone_of(placed, step);
    const double length_s = static_cast<double>(placed.steps[step].frames) / take.tone.rate_hz;
    const double from_s = placed.at_s(step, std::max(settling_s, 4.0 / point.frequency_hz));
    const double to_s = placed.at_s(step, length_s - line_guard_s);
    const std::vector<double> loud = load_volts(setup, placed, driven, from_s, to_s);
    const std::vector<double> quiet = load_volts(setup, placed, idle, from_s, to_s);
    const double guess_hz = point.frequency_hz / placed.placement.clock_ratio;
    const int harmonics = std::clamp(static_cast<int>(0.45 * placed.rate_hz / guess_hz), 1, harmonics_fitted);
    const analysis::HarmonicFit fit =
        analysis::fit_harmonics(loud, placed.rate_hz, guess_hz, {.harmonics = harmonics});
    std::vector<double> lines;
    for (int k = 1; k <= harmonics; ++k) lines.push_back(fit.frequency_hz * k);
    const double seconds = static_cast<double>(quiet.size()) / placed.rate_hz;
    for (const double hum : hum_hz) {
        const double there_hz = hum / placed.placement.clock_ratio;
        // Distortion of the tone counts as no hum, so that its harmonics are left alone.
        if (std::ranges::none_of(lines,
                                 [&](double line) { return std::abs(line - there_hz) * seconds < apart; }))
            lines.push_back(there_hz);
    }
    const std::vector<Line> found = analysis::fit_lines(quiet, placed.rate_hz, lines);
    heard.tone = found.front();
    heard.background.assign(found.begin() + harmonics, found.end());
    heard.middle_s =
        first_sample_s(placed, from_s) + 0.5 * (static_cast<double>(quiet.size()) - 1.0) / placed.rate_hz;
    point.driven_v = fit.amplitude() * scale_correction(setup.bench->inputs[driven.plus], point.frequency_hz);
    point.driven_share = plus_share_of(setup, placed, driven, from_s, to_s);
    point.idle_share = plus_share_of(setup, placed, idle, from_s, to_s);
    return heard;
}

std::complex<double> turn(double frequency_hz, double seconds) {
    return std::polar(1.0, std::remainder(analysis::two_pi * frequency_hz * seconds, analysis::two_pi));
}

/// What the other steps say of the hum at this step's frequency.
analysis::Background hum_at(const std::vector<HeardStep>& steps, std::size_t step, double frequency_hz) {
    std::vector<HeardLine> heard;
    for (std::size_t other = 0; other < steps.size(); ++other) {
        if (other == step) continue;
        for (const Line& line : steps[other].background) {
            if (line.frequency_hz != frequency_hz) continue;
            const double at_s = steps[other].middle_s;
            heard.push_back({at_s, line.phasor * turn(frequency_hz, -at_s), line.doubt});
        }
    }
    return analysis::background_at(heard, steps[step].middle_s);
}

std::string list_of(const std::vector<double>& frequencies_hz) {
    std::string text;
    for (const double frequency_hz : frequencies_hz)
        text += fmt::format("{}{:.6g}", text.empty() ? "" : ", ", frequency_hz);
    return text + " Hz";
}

}  // namespace

double SeparationPoint::idle_doubt_v() const {
    return std::hypot(noise_v, hum_doubt_v);
}

bool SeparationPoint::heard() const {
    return idle_v > stands_out * idle_doubt_v();
}

double SeparationPoint::separation_db() const {
    return analysis::decibels(driven_v / idle_v);
}

double SeparationPoint::at_least_db() const {
    // What was read counts as well: it may be the tone though it does not stand out.
    const double most_v = std::max(stands_out * idle_doubt_v(), idle_v + 2.0 * idle_doubt_v());
    return analysis::decibels(driven_v / std::max(most_v, 1e-300));
}

std::vector<SeparationPoint> read_separation_points(const Setup& setup, const Take& take,
                                                    const PlacedTake& placed) {
    const std::vector<double> hum_hz = hum_frequencies(placed);
    const capture::Load& idle = setup.bench->loads[setup.test->loads[1]];
    std::vector<HeardStep> steps;
    for (std::size_t step = 0; step < placed.steps.size(); ++step)
        steps.push_back(hear(setup, take, placed, step, hum_hz));
    std::vector<SeparationPoint> points;
    for (std::size_t step = 0; step < steps.size(); ++step) {
        SeparationPoint point = steps[step].point;
        Line tone = steps[step].tone;
        const double scale = scale_correction(setup.bench->inputs[idle.plus], point.frequency_hz);
        point.noise_v = tone.doubt * scale;
        if (hum_may_be_at(point.frequency_hz)) {
            const double there_hz = point.frequency_hz / placed.placement.clock_ratio;
            const analysis::Background hum = hum_at(steps, step, there_hz);
            tone.phasor -= hum.phasor * turn(there_hz, steps[step].middle_s);
            const double doubt = std::hypot(hum.doubt, not_adding * hum.size);
            tone.doubt = std::hypot(tone.doubt, doubt);
            point.hum_v = hum.size * scale;
            point.hum_doubt_v = doubt * scale;
        }
        point.idle_v = tone.amplitude() * scale;
        points.push_back(point);
    }
    return points;
}

void warn_of_hum(const std::vector<SeparationPoint>& points, Numbers& numbers) {
    std::vector<double> taken_out;
    std::vector<double> hidden;
    for (const SeparationPoint& point : points) {
        if (!point.heard() && point.hum_doubt_v > point.noise_v) hidden.push_back(point.frequency_hz);
        if (point.heard() && point.hum_v > matters * point.idle_v) taken_out.push_back(point.frequency_hz);
    }
    const char* advice = "frequencies_hz beside the mains' multiples, such as 40 and 70 Hz, are free of it";
    if (!taken_out.empty())
        numbers.warn(
            "hum-taken-out",
            fmt::format("at {} the idle channel's own hum lies on the tone; it is taken out, as the other "
                        "frequencies tell it, and what it may be off by is in the uncertainty",
                        list_of(taken_out)),
            advice);
    if (!hidden.empty())
        numbers.warn(
            "hum-hides",
            fmt::format(
                "at {} the idle channel's own hum hides what comes over: no more than \"better than\" "
                "is told there",
                list_of(hidden)),
            advice);
}

}  // namespace assay::cli
