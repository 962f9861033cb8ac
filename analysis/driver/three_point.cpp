#include "analysis/driver/three_point.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace assay::analysis {

namespace {

/// Top of the parabola in log frequency through the points within 1 % of the highest one: least squares, so
/// that the noise of dense points does not choose the peak. Three points at least.
void refine(const std::vector<MagnitudePoint>& curve, Peak& peak) {
    const std::size_t top = peak.index;
    const double level = 0.99 * curve[top].magnitude_ohm;
    std::size_t first = top > 0 ? top - 1 : top;
    std::size_t last = std::min(top + 1, curve.size() - 1);
    while (first > 0 && curve[first - 1].magnitude_ohm > level) --first;
    while (last + 1 < curve.size() && curve[last + 1].magnitude_ohm > level) ++last;
    const double center = std::log(curve[top].frequency_hz);
    // Normal equations of a + b x + c x^2.
    double s[5] = {};
    double t[3] = {};
    const double reach =
        std::max(std::log(curve[last].frequency_hz) - center, center - std::log(curve[first].frequency_hz));
    if (!(reach > 0.0)) return;
    for (std::size_t i = first; i <= last; ++i) {
        const double x = (std::log(curve[i].frequency_hz) - center) / reach;
        double power = 1.0;
        for (int k = 0; k < 5; ++k) {
            s[k] += power;
            if (k < 3) t[k] += power * curve[i].magnitude_ohm;
            power *= x;
        }
    }
    const double d = s[0] * (s[2] * s[4] - s[3] * s[3]) - s[1] * (s[1] * s[4] - s[2] * s[3]) +
                     s[2] * (s[1] * s[3] - s[2] * s[2]);
    if (std::abs(d) < 1e-12) return;
    const double a = (t[0] * (s[2] * s[4] - s[3] * s[3]) - s[1] * (t[1] * s[4] - s[3] * t[2]) +
                      s[2] * (t[1] * s[3] - s[2] * t[2])) /
                     d;
    const double b = (s[0] * (t[1] * s[4] - t[2] * s[3]) - t[0] * (s[1] * s[4] - s[2] * s[3]) +
                      s[2] * (s[1] * t[2] - s[2] * t[1])) /
                     d;
    const double c = (s[0] * (s[2] * t[2] - s[3] * t[1]) - s[1] * (s[1] * t[2] - s[2] * t[1]) +
                      t[0] * (s[1] * s[3] - s[2] * s[2])) /
                     d;
    if (!(c < 0.0)) return;
    const double x = -b / (2.0 * c);
    if (std::abs(x) > 1.0) return;
    peak.frequency_hz = std::exp(center + x * reach);
    peak.magnitude_ohm = a - b * b / (4.0 * c);
}

/// Where the curve comes down to `level`, from `from` on in steps of `step`, by log frequency.
std::optional<double> crossing(const std::vector<MagnitudePoint>& curve, std::size_t from, int step,
                               double level) {
    std::size_t i = from;
    while (true) {
        if ((step < 0 && i == 0) || (step > 0 && i + 1 == curve.size())) return std::nullopt;
        const std::size_t next = step < 0 ? i - 1 : i + 1;
        const double here = curve[i].magnitude_ohm;
        const double there = curve[next].magnitude_ohm;
        if (here >= level && there < level) {
            const double share = (here - level) / (here - there);
            return std::exp(std::log(curve[i].frequency_hz) +
                            share * (std::log(curve[next].frequency_hz) - std::log(curve[i].frequency_hz)));
        }
        i = next;
    }
}

}  // namespace

std::vector<Peak> peaks_of(const std::vector<MagnitudePoint>& curve, double least_prominence) {
    std::vector<Peak> peaks;
    for (std::size_t i = 1; i + 1 < curve.size(); ++i) {
        const double height = curve[i].magnitude_ohm;
        if (height < curve[i - 1].magnitude_ohm || height <= curve[i + 1].magnitude_ohm) continue;
        // The valley on each side: the lowest point before the curve rises above this peak again.
        double valley[2] = {height, height};
        for (std::size_t k = i; k-- > 0 && curve[k].magnitude_ohm <= height;)
            valley[0] = std::min(valley[0], curve[k].magnitude_ohm);
        for (std::size_t k = i + 1; k < curve.size() && curve[k].magnitude_ohm <= height; ++k)
            valley[1] = std::min(valley[1], curve[k].magnitude_ohm);
        const double prominence = height / std::max(valley[0], valley[1]);
        if (prominence < least_prominence) continue;
        Peak peak{i, curve[i].frequency_hz, height, prominence};
        refine(curve, peak);
        peaks.push_back(peak);
    }
    std::stable_sort(peaks.begin(), peaks.end(),
                     [](const Peak& a, const Peak& b) { return a.prominence > b.prominence; });
    return peaks;
}

ThreePointReading three_point(const std::vector<MagnitudePoint>& curve, double re_ohm) {
    const std::vector<Peak> peaks = peaks_of(curve, 1.1);
    if (peaks.empty()) return {std::nullopt, "the curve has no peak"};
    const Peak& peak = peaks.front();
    ThreePoint found;
    found.fs_hz = peak.frequency_hz;
    found.zmax_ohm = peak.magnitude_ohm;
    const double r0 = peak.magnitude_ohm / re_ohm;
    if (!(r0 > 1.0)) return {std::nullopt, "the peak is not above Re"};
    const double level = std::sqrt(r0) * re_ohm;
    const auto f1 = crossing(curve, peak.index, -1, level);
    const auto f2 = crossing(curve, peak.index, +1, level);
    if (!f1) {
        return {std::nullopt,
                "below the peak the curve does not come down to the geometric mean of Re and peak"};
    }
    if (!f2) {
        return {std::nullopt,
                "above the peak the coil keeps the curve over the geometric mean of Re and peak"};
    }
    found.f1_hz = *f1;
    found.f2_hz = *f2;
    found.qms = found.fs_hz * std::sqrt(r0) / (*f2 - *f1);
    found.qes = found.qms / (r0 - 1.0);
    found.qts = found.qms / r0;
    found.asymmetry = std::sqrt(*f1 * *f2) / found.fs_hz - 1.0;
    return {found, {}};
}

}  // namespace assay::analysis
