#include "analysis/amplifier/distortion_limit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <numeric>
#include <string>

#include "analysis/signal/monotone_curve.h"
#include "analysis/uncertainty/rounded_text.h"
#include "analysis/units.h"

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
        const std::string gave =
            there > 0.0
                ? percent(there) + ", " + one_decimal(decibels(limit / there)) + " dB below the limit of "
                : std::string("nothing that stands out of the noise, for a limit of ");
        return {"limit-not-reached",
                "the loudest step (" + one_decimal(last.level_dbfs) + " dBFS) gave " + gave + percent(limit),
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

/// Steps about the crossing; it lies between `below` and the next.
struct Neighbours {
    std::vector<double> drives{};
    std::vector<double> distortions{};
    std::size_t below = 0;
    double limit = 0.0;
};

/// Parabola of distortion over drive through three neighbouring steps.
double parabola_at(const Neighbours& steps, std::size_t first, double drive) {
    double sum = 0.0;
    for (std::size_t k = first; k < first + 3; ++k) {
        double part = steps.distortions[k];
        for (std::size_t other = first; other < first + 3; ++other) {
            if (other != k) part *= (drive - steps.drives[other]) / (steps.drives[k] - steps.drives[other]);
        }
        sum += part;
    }
    return sum;
}

/// Drives at which curves through the steps pass the limit: one smooth in distortion, one smooth in its
/// logarithm, parabolas that lean on the step below and on the step above.
std::vector<double> possible_drives(const Neighbours& steps) {
    const double low = steps.drives[steps.below];
    const double high = steps.drives[steps.below + 1];
    // Distortion below a fiftieth of the limit tells nothing, and would only stretch the logarithm.
    std::vector<double> logarithms;
    for (const double distortion : steps.distortions)
        logarithms.push_back(std::log(std::max(distortion, steps.limit / 50.0)));
    const MonotoneCurve direct(steps.drives, steps.distortions);
    const MonotoneCurve in_logarithm(steps.drives, logarithms);
    std::vector<double> drives{
        solve([&](double drive) { return direct.at(drive); }, steps.limit, low, high),
        solve([&](double drive) { return in_logarithm.at(drive); }, std::log(steps.limit), low, high)};
    for (std::size_t first = steps.below == 0 ? 0 : steps.below - 1; first <= steps.below; ++first) {
        if (first + 2 >= steps.drives.size()) continue;
        drives.push_back(
            solve([&](double drive) { return parabola_at(steps, first, drive); }, steps.limit, low, high));
    }
    return drives;
}

/// Nothing says what shape distortion has between two steps: a soft knee is smooth in its logarithm, rails
/// begin in the midst. The curves lean to different sides of them: their mean is taken, and their standard
/// deviation is the doubt.
void read_between(const Neighbours& steps, const MonotoneCurve& volts, LimitCrossing& crossing) {
    const std::vector<double> drives = possible_drives(steps);
    const auto count = static_cast<double>(drives.size());
    crossing.drive_dbfs = std::accumulate(drives.begin(), drives.end(), 0.0) / count;
    crossing.total_v = volts.at(crossing.drive_dbfs);
    double square = 0.0;
    for (const double drive : drives) square += std::pow(volts.at(drive) - crossing.total_v, 2.0);
    crossing.interpolation_doubt_v = std::sqrt(square / (count - 1.0));
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
    const MonotoneCurve volts_curve(drives, volts);

    LimitCrossing crossing;
    crossing.below = below;
    crossing.above = above;
    // A step of a level that was there before has been left out: the place is looked for by level.
    const auto next = std::upper_bound(drives.begin(), drives.end() - 1, low) - drives.begin();
    const auto place = static_cast<std::size_t>(std::max<std::ptrdiff_t>(next - 1, 0));
    read_between({drives, distortions, place, limit}, volts_curve, crossing);

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
