#include "analysis/amplifier/distortion_limit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <string>

#include "analysis/signal/monotone_curve.h"
#include "analysis/uncertainty/rounded_text.h"

namespace assay::analysis {

namespace {

std::string percent(double ratio) {
    return rounded_text(100.0 * ratio, 3) + " %";
}

std::string one_decimal(double value) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), "%.1f", value);
    return text.data();
}

Absent not_crossed(std::span<const StepReading> readings, double limit, DistortionKind kind) {
    const StepReading& last = readings.back();
    const double there = distortion_of(last, kind);
    if (there < limit) {
        return {"limit-not-reached",
                "the loudest step (" + one_decimal(last.level_dbfs) + " dBFS) gave " + percent(there) + ", " +
                    one_decimal(20.0 * std::log10(limit / std::max(there, 1e-7))) +
                    " dB below the limit of " + percent(limit),
                "turn the amplifier's gain up, or let the tone go louder (to_dbfs, the output's maximum)"};
    }
    return {
        "always-above-limit",
        "distortion never falls below the limit of " + percent(limit) + " before it rises",
        "look at the level curve: noise, crossover distortion or the source may hide the limit; ask for a "
        "higher one"};
}

/// Drive at which `curve` passes `target` between two drives on whose sides it lies.
template <class Curve>
double solve(const Curve& curve, double target, double low, double high) {
    for (int iteration = 0; iteration < 60; ++iteration) {
        const double middle = 0.5 * (low + high);
        (curve(middle) < target ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

/// Between two steps of one level (a repeat), of which one lies above the limit and one below: there it is,
/// to within what the two differ by.
LimitCrossing of_one_level(const StepReading& below, const StepReading& above, std::size_t index) {
    LimitCrossing crossing;
    crossing.drive_dbfs = above.level_dbfs;
    crossing.total_v = 0.5 * (below.total_v + above.total_v);
    crossing.interpolation_doubt_v = std::abs(above.total_v - below.total_v) / (2.0 * std::numbers::sqrt3);
    crossing.noise_doubt_v = std::max(below.fundamental_doubt_v, above.fundamental_doubt_v);
    crossing.below = index;
    crossing.above = index + 1;
    return crossing;
}

}  // namespace

double distortion_of(const StepReading& reading, DistortionKind kind) {
    return kind == DistortionKind::thd ? reading.thd : reading.thd_plus_noise;
}

std::variant<LimitCrossing, Absent> find_limit_crossing(std::span<const StepReading> readings, double limit,
                                                        DistortionKind kind) {
    if (readings.size() < 2) {
        return Absent{"too-few-steps", "fewer than two steps can be trusted",
                      "look at the warnings of this test"};
    }
    std::size_t below = readings.size();
    for (std::size_t k = 0; k + 1 < readings.size(); ++k) {
        if (distortion_of(readings[k], kind) < limit && distortion_of(readings[k + 1], kind) >= limit)
            below = k;
    }
    if (below == readings.size()) return not_crossed(readings, limit, kind);
    const std::size_t above = below + 1;

    // A few steps on each side give the cubics their slopes; levels must rise strictly.
    std::vector<double> drives;
    std::vector<double> distortions;
    std::vector<double> volts;
    const std::size_t first = below >= 3 ? below - 3 : 0;
    for (std::size_t k = first; k < std::min(readings.size(), above + 4); ++k) {
        if (!drives.empty() && readings[k].level_dbfs <= drives.back()) continue;
        drives.push_back(readings[k].level_dbfs);
        distortions.push_back(distortion_of(readings[k], kind));
        volts.push_back(readings[k].total_v);
    }
    const double low = readings[below].level_dbfs;
    const double high = readings[above].level_dbfs;
    if (!(high > low)) return of_one_level(readings[below], readings[above], below);
    const MonotoneCurve distortion_curve(drives, distortions);
    const MonotoneCurve volts_curve(drives, volts);

    LimitCrossing crossing;
    crossing.below = below;
    crossing.above = above;
    crossing.drive_dbfs = solve([&](double drive) { return distortion_curve.at(drive); }, limit, low, high);
    crossing.total_v = volts_curve.at(crossing.drive_dbfs);

    // Straight line in the logarithm of distortion, for the doubt. Distortion below a fiftieth of the limit
    // carries no information on where between the steps the limit lies, and would only stretch the logarithm.
    const double low_log = std::log(std::max(distortion_of(readings[below], kind), limit / 50.0));
    const double high_log = std::log(distortion_of(readings[above], kind));
    const double part = (std::log(limit) - low_log) / std::max(high_log - low_log, 1e-12);
    const double straight_v = volts_curve.at(low + part * (high - low));
    crossing.interpolation_doubt_v = std::abs(straight_v - crossing.total_v) / (2.0 * std::numbers::sqrt3);

    const double slope =
        (distortion_of(readings[above], kind) - distortion_of(readings[below], kind)) / (high - low);
    const double volts_slope = (readings[above].total_v - readings[below].total_v) / (high - low);
    crossing.volts_per_distortion = volts_slope / slope;
    const double distortion_doubt = std::max(readings[below].thd_noise, readings[above].thd_noise);
    crossing.noise_doubt_v =
        std::hypot(crossing.volts_per_distortion * distortion_doubt,
                   std::max(readings[below].fundamental_doubt_v, readings[above].fundamental_doubt_v));
    return crossing;
}

}  // namespace assay::analysis
