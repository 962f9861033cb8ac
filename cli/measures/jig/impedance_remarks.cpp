#include "cli/measures/jig/impedance_remarks.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/signal/median.h"

namespace assay::cli {

namespace {

// A small-signal reading changes by less between half and full level (2 to 3 %: common practice, no source).
constexpr double level_change = 0.02;
// A peak that is not placed better than this (standard uncertainty, relative) may be a hump of the noise.
constexpr double placed_within = 2.0 * level_change;
constexpr double second_peak = 1.05;  // height over its troughs
constexpr double second_peak_octaves =
    3.0;  // from the resonance; further up peaks are the cone's or the cable's
constexpr double ripple_depth = 0.008;
constexpr double many_lines = 0.05;
constexpr double noisy = 0.001;  // typical scatter of a point; the accuracy that a curve is meant to have

/// The highest peak near a frequency.
const analysis::CurvePeak* peak_near(const analysis::ImpedanceCurve& curve,
                                     const std::vector<analysis::CurvePeak>& peaks, double frequency_hz) {
    const auto found = std::find_if(peaks.begin(), peaks.end(), [&](const analysis::CurvePeak& peak) {
        return std::abs(std::log2(curve.points[peak.index].frequency_hz / frequency_hz)) < 0.5;
    });
    return found == peaks.end() ? nullptr : &*found;
}

void compare_levels(const ImpedanceReading& reading, const std::string& noise_source, TestResult& result) {
    Numbers& found = result.whole;
    const analysis::Quantity* resonance = found.find("resonance_hz");
    const analysis::Quantity* maximum = found.find("maximum_ohm");
    if (!reading.take || resonance == nullptr || maximum == nullptr) return;
    const auto not_checked = [&](const std::string& why,
                                 const std::string& advice =
                                     "record again if it matters; keep the level low") {
        found.warn("level-not-checked", "whether the curve changes with level is not known: " + why, advice);
    };
    if (!reading.half_level) {
        not_checked(reading.take->half_trouble.empty() ? "there is no part at half the level"
                                                       : reading.take->half_trouble);
        return;
    }
    const analysis::ImpedanceCurve& half = reading.half_level->curve;
    const auto peaks = analysis::peaks_of(half, 1.02);
    const analysis::CurvePeak* peak = peak_near(half, peaks, resonance->value);
    if (peak == nullptr) {
        not_checked("no resonance stands out at half the level");
        return;
    }
    const analysis::ReadPoint low = analysis::read_peak(half, *peak, noise_source);
    // What the bench does wrong it does at both levels alike; only scatter is left in the difference.
    const auto scatter = [&](const analysis::Quantity& quantity) {
        const auto own = quantity.contributions.find(noise_source);
        return own == quantity.contributions.end() ? 0.0 : std::abs(own->second);
    };
    const auto is_placed = [&](const analysis::Quantity& quantity) {
        return scatter(quantity) <= placed_within * std::abs(quantity.value);
    };
    if (!is_placed(low.frequency_hz) || !is_placed(low.magnitude_ohm) || !is_placed(*resonance) ||
        !is_placed(*maximum)) {
        not_checked("the peak is too noisy to be placed at both levels",
                    "keep the room quiet, use less attenuation before the recorder, and record again");
        return;
    }
    result.conditions.emplace_back("resonance_half_level_hz", low.frequency_hz.value);
    result.conditions.emplace_back("maximum_half_level_ohm", low.magnitude_ohm.value);
    const auto moved = [&](const analysis::Quantity& at_half, const analysis::Quantity& at_full) {
        const double change = at_full.value / at_half.value - 1.0;
        // Three standard uncertainties: a chance of one in some hundred for both figures together.
        const double doubt = 3.0 * std::hypot(scatter(at_half), scatter(at_full)) / at_half.value;
        return std::abs(change) > std::max(level_change, doubt) ? change : 0.0;
    };
    const double resonance_moved = moved(low.frequency_hz, *resonance);
    const double maximum_moved = moved(low.magnitude_ohm, *maximum);
    if (resonance_moved == 0.0 && maximum_moved == 0.0) return;
    std::string text = "level too high: from half the level to the full one ";
    if (resonance_moved != 0.0)
        text += fmt::format("the resonance moves by {:+.1f} %", 100.0 * resonance_moved);
    if (resonance_moved != 0.0 && maximum_moved != 0.0) text += " and ";
    if (maximum_moved != 0.0) text += fmt::format("the maximum by {:+.1f} %", 100.0 * maximum_moved);
    found.warn("level-too-high", text,
               "measure at a lower level for small-signal figures; keep one level for all tests of a driver");
}

void tell_of_lost_lines(const ImpedanceReading& reading, TestResult& result) {
    if (!reading.take) return;
    const auto lines = static_cast<double>(reading.take->full.lines.size());
    Numbers& found = result.whole;
    if (reading.full.disturbed > 0) {
        found.warn(
            "lines-left-out",
            fmt::format("{} of {:.0f} frequencies are left out: hum, a whistle or another sound covers them",
                        reading.full.disturbed, lines),
            "the curve runs on between its points; look for ground loops and chargers if there are many");
    }
    std::vector<double> scatter;
    for (const analysis::ImpedancePoint& point : reading.full.curve.points)
        scatter.push_back(std::sqrt(point.variance_ohm2) / std::abs(point.z_ohm));
    if (const double typical = analysis::median(std::move(scatter)); typical > noisy) {
        found.warn(
            "noisy",
            fmt::format("level too low for the noise: the points scatter by {:.2g} %", 100.0 * typical),
            "raise the level, keep the room quiet, or use less attenuation before the recorder");
    }
    const auto weak = static_cast<double>(reading.full.weak);
    if (reading.full.weak_below_hz > 0.0 || weak > many_lines * lines) {
        found.warn(
            "level-too-low",
            reading.full.weak_below_hz > 0.0
                ? fmt::format(
                      "noisy bottom: up to {:.3g} Hz most frequencies drown in noise and are left out",
                      reading.full.weak_below_hz)
                : fmt::format("{:.0f} of {:.0f} frequencies drown in noise and are left out", weak, lines),
            "raise the level, keep the room quiet, or use a series resistor nearer to the driver's "
            "impedance");
    }
}

void tell_of_shape(const analysis::ImpedanceCurve& curve, const std::vector<analysis::CurvePeak>& peaks,
                   TestResult& result) {
    Numbers& found = result.whole;
    const auto all = analysis::peaks_of(curve, second_peak);
    std::string others;
    if (!peaks.empty()) {
        const double resonance_hz = curve.points[peaks.front().index].frequency_hz;
        for (const analysis::CurvePeak& peak : all) {
            const double frequency_hz = curve.points[peak.index].frequency_hz;
            if (peak.index == peaks.front().index) continue;
            if (std::abs(std::log2(frequency_hz / resonance_hz)) > second_peak_octaves) continue;
            others += fmt::format("{}{:.3g} Hz", others.empty() ? "" : ", ", frequency_hz);
        }
    }
    if (!others.empty()) {
        found.warn("second-peak", "a second peak stands at " + others,
                   "a vented box has two peaks, a closed box that shows two leaks; in free air look for a "
                   "loose surround, dust cap or mount");
    }
    const auto ripples = analysis::ripples_of(curve, all, ripple_depth);
    if (!ripples.empty()) {
        const auto deepest = std::max_element(ripples.begin(), ripples.end(),
                                              [](const auto& a, const auto& b) { return a.depth < b.depth; });
        found.warn(
            "ripples",
            fmt::format("wrinkles in the curve, the deepest at {:.4g} Hz ({:.1f} % off the smooth course)",
                        deepest->frequency_hz, 100.0 * deepest->depth),
            "clamp the frame firmly, keep the cone 1 m clear on both sides; if they stay they are the cone's "
            "own");
    }
}

}  // namespace

void add_remarks(const ImpedanceReading& reading, const std::vector<analysis::CurvePeak>& peaks,
                 const std::string& noise_source, TestResult& result) {
    compare_levels(reading, noise_source, result);
    tell_of_lost_lines(reading, result);
    tell_of_shape(reading.full.curve, peaks, result);
    if (reading.take && !reading.match) {
        result.whole.warn(
            "inputs-not-matched",
            "the two inputs are taken as equal within their stated uncertainty; at high impedance "
            "their difference counts many times",
            "take a match test with both inputs on one node, and name it");
    }
}

}  // namespace assay::cli
