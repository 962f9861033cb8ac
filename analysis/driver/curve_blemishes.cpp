#include <algorithm>
#include <cmath>
#include <span>

#include "analysis/driver/curve_reading.h"
#include "analysis/driver/local_fit.h"
#include "analysis/signal/median.h"

namespace assay::analysis {

namespace {

constexpr std::size_t wing = 5;  // points to each side that foretell the one between
constexpr double stray_sigmas = 10.0;
constexpr double stray_over_typical = 12.0;
constexpr double smallest_stray = 0.002;  // relative
constexpr double ripple_sigmas = 10.0;
constexpr std::size_t fewest_in_ripple = 3;  // points; fewer are strays
constexpr double ripple_window_octaves = 1.0 / 5.0;

/// Deviation of each point from what its neighbours, without it, foretell.
std::vector<double> surprises(const ImpedanceCurve& curve) {
    const std::size_t count = curve.points.size();
    std::vector<double> result(count, 0.0);
    std::vector<ImpedancePoint> around;
    for (std::size_t i = 0; i < count; ++i) {
        const std::size_t from = std::min(i > wing ? i - wing : 0, count - 2 * wing - 1);
        around.clear();
        for (std::size_t j = from; j <= from + 2 * wing; ++j) {
            if (j != i) around.push_back(curve.points[j]);
        }
        const LocalFit fit = fit_locally(around, LocalShape::rational);
        result[i] = std::abs(curve.points[i].z_ohm - fit.at(curve.points[i].frequency_hz));
    }
    return result;
}

}  // namespace

std::vector<std::size_t> stray_points(const ImpedanceCurve& curve) {
    std::vector<std::size_t> strays;
    const std::size_t count = curve.points.size();
    if (count < 4 * wing) return strays;
    const std::vector<double> surprise = surprises(curve);
    for (std::size_t i = wing; i + wing < count; ++i) {
        const ImpedancePoint& point = curve.points[i];
        std::vector<double> others;
        for (std::size_t j = i > 3 * wing ? i - 3 * wing : 0; j < std::min(count, i + 3 * wing + 1); ++j)
            others.push_back(surprise[j]);
        const bool far = surprise[i] > stray_sigmas * std::sqrt(2.0 * point.variance_ohm2) &&
                         surprise[i] > stray_over_typical * median(others) &&
                         surprise[i] > smallest_stray * std::abs(point.z_ohm);
        // A stray point also spoils what is foretold of its neighbours, by less than itself.
        const bool worst = surprise[i] >= surprise[i - 1] && surprise[i] >= surprise[i + 1];
        if (far && worst) strays.push_back(i);
    }
    return strays;
}

std::vector<Ripple> ripples_of(const ImpedanceCurve& curve, const std::vector<CurvePeak>& peaks,
                               double least_depth) {
    const std::size_t count = curve.points.size();
    std::vector<bool> apart(count, true);
    for (const CurvePeak& peak : peaks) {
        const double centre = curve.points[peak.index].frequency_hz;
        const double half =
            0.5 * std::log2(curve.points[peak.to - 1].frequency_hz / curve.points[peak.from].frequency_hz);
        for (std::size_t i = 0; i < count; ++i) {
            if (std::abs(std::log2(curve.points[i].frequency_hz / centre)) <
                5.0 * half + ripple_window_octaves)
                apart[i] = false;
        }
    }
    std::vector<double> deviation(count, 0.0);
    const double factor = std::exp2(ripple_window_octaves);
    std::size_t from = 0;
    std::size_t to = 0;
    for (std::size_t i = 0; i < count; ++i) {
        const ImpedancePoint& point = curve.points[i];
        while (curve.points[from].frequency_hz < point.frequency_hz / factor) ++from;
        while (to < count && curve.points[to].frequency_hz <= point.frequency_hz * factor) ++to;
        const bool inside = from > 0 && to < count;
        if (!inside || !apart[i] || to - from < 12) continue;
        const LocalFit fit = fit_locally(std::span(curve.points).subspan(from, to - from), LocalShape::cubic);
        const double off = std::abs(point.z_ohm - fit.at(point.frequency_hz));
        if (off > ripple_sigmas * std::sqrt(2.0 * point.variance_ohm2))
            deviation[i] = off / std::abs(point.z_ohm);
    }
    std::vector<Ripple> ripples;
    for (std::size_t i = 0; i < count;) {
        if (deviation[i] < least_depth) {
            ++i;
            continue;
        }
        std::size_t end = i;
        std::size_t deepest = i;
        std::size_t quiet = 0;
        std::size_t loud = 0;
        // One ripple swings to both sides: a few calm points between belong to it.
        for (; end < count && quiet < 2 * fewest_in_ripple; ++end) {
            quiet = deviation[end] < least_depth ? quiet + 1 : 0;
            if (deviation[end] >= least_depth) ++loud;
            if (deviation[end] > deviation[deepest]) deepest = end;
        }
        if (loud >= fewest_in_ripple)
            ripples.push_back({curve.points[deepest].frequency_hz, deviation[deepest]});
        i = end;
    }
    return ripples;
}

}  // namespace assay::analysis
