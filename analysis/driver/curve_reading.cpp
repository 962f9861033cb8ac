#include "analysis/driver/curve_reading.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <span>

#include "analysis/driver/local_fit.h"

namespace assay::analysis {

namespace {

using Points = std::vector<ImpedancePoint>;
using Reader = std::function<double(std::span<const ImpedancePoint>)>;

struct Stretch {
    std::size_t from = 0;
    std::size_t to = 0;
};

/// Points within a ratio of a frequency, at least enough for a fit.
Stretch stretch_around(const Points& points, double frequency_hz, double octaves) {
    const double factor = std::exp2(octaves);
    Stretch stretch{points.size(), 0};
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (points[i].frequency_hz < frequency_hz / factor || points[i].frequency_hz > frequency_hz * factor)
            continue;
        stretch.from = std::min(stretch.from, i);
        stretch.to = i + 1;
    }
    if (stretch.from > stretch.to) {
        const auto above =
            std::lower_bound(points.begin(), points.end(), frequency_hz,
                             [](const ImpedancePoint& point, double f) { return point.frequency_hz < f; });
        stretch.from = stretch.to = static_cast<std::size_t>(above - points.begin());
    }
    const std::size_t least = std::min(points.size(), fewest_points_of_local_fit + 2);
    while (stretch.to - stretch.from < least) {
        if (stretch.from > 0) --stretch.from;
        if (stretch.to < points.size() && stretch.to - stretch.from < least) ++stretch.to;
    }
    return stretch;
}

/// A value read from a stretch, with what makes it uncertain.
Quantity read_value(const ImpedanceCurve& curve, const Stretch& stretch, LocalShape shape,
                    const Reader& reader, const std::string& unit, const std::string& noise_source) {
    Points points(curve.points.begin() + static_cast<std::ptrdiff_t>(stretch.from),
                  curve.points.begin() + static_cast<std::ptrdiff_t>(stretch.to));
    Quantity quantity{reader(points), unit, {}};
    const LocalFit fit = fit_locally(points, shape);
    double variance = 0.0;
    for (ImpedancePoint& point : points) {
        // Where the fit leaves more than the points' own scatter, the scatter is not all.
        const double own = point.variance_ohm2 > 0.0 ? point.variance_ohm2 * std::max(fit.lack_of_fit, 1.0)
                                                     : fit.residual_ohm2;
        const double move = std::sqrt(own);
        if (!(move > 0.0)) continue;
        const std::complex<double> kept = point.z_ohm;
        for (const std::complex<double> direction :
             {std::complex<double>(1.0, 0.0), std::complex<double>(0.0, 1.0)}) {
            point.z_ohm = kept + move * direction;
            const double change = reader(points) - quantity.value;
            variance += change * change;
        }
        point.z_ohm = kept;
    }
    if (variance > 0.0) quantity.contributions[noise_source] = std::sqrt(variance);
    for (const auto& [source, changes] : curve.systematic) {
        Points moved = points;
        for (std::size_t i = 0; i < moved.size(); ++i) moved[i].z_ohm += changes[stretch.from + i];
        const double change = reader(moved) - quantity.value;
        if (change != 0.0) quantity.contributions[source] += change;
    }
    return quantity;
}

ReadPoint read_extremum(const ImpedanceCurve& curve, const Stretch& stretch, LocalShape shape, bool highest,
                        const std::string& noise_source) {
    const double from_hz = curve.points[stretch.from].frequency_hz;
    const double to_hz = curve.points[stretch.to - 1].frequency_hz;
    const auto extremum = [&](std::span<const ImpedancePoint> points) {
        return extremum_of(fit_locally(points, shape), from_hz, to_hz, highest);
    };
    ReadPoint read;
    read.frequency_hz = read_value(
        curve, stretch, shape, [&](std::span<const ImpedancePoint> p) { return extremum(p).frequency_hz; },
        "Hz", noise_source);
    read.magnitude_ohm = read_value(
        curve, stretch, shape, [&](std::span<const ImpedancePoint> p) { return extremum(p).magnitude_ohm; },
        "ohm", noise_source);
    return read;
}

double magnitude(const ImpedanceCurve& curve, std::size_t index) {
    return std::abs(curve.points[index].z_ohm);
}

/// Relative scatter of a point, 0 where it is not known.
double scatter_at(const ImpedanceCurve& curve, std::size_t index) {
    const ImpedancePoint& point = curve.points[index];
    return std::sqrt(point.variance_ohm2) / std::max(std::abs(point.z_ohm), 1e-12);
}

}  // namespace

std::vector<CurvePeak> peaks_of(const ImpedanceCurve& curve, double least_prominence) {
    std::vector<CurvePeak> peaks;
    const std::size_t count = curve.points.size();
    for (std::size_t i = 1; i + 1 < count; ++i) {
        const double height = magnitude(curve, i);
        if (!(height > magnitude(curve, i - 1) && height >= magnitude(curve, i + 1))) continue;
        double left = height;
        std::size_t j = i;
        while (j > 0 && magnitude(curve, j - 1) <= height) left = std::min(left, magnitude(curve, --j));
        double right = height;
        std::size_t k = i;
        while (k + 1 < count && magnitude(curve, k + 1) < height)
            right = std::min(right, magnitude(curve, ++k));
        const double side = std::max(left, right);
        const double prominence = height / side;
        if (prominence < std::max(least_prominence, 1.0 + 8.0 * scatter_at(curve, i))) continue;
        CurvePeak peak{i, i, i + 1, prominence};
        const double level = std::max(0.75 * height, side + 0.4 * (height - side));
        const auto near = [&](std::size_t at) {
            return std::abs(std::log2(curve.points[at].frequency_hz / curve.points[i].frequency_hz)) < 0.5;
        };
        while (peak.from > 0 && near(peak.from - 1) && magnitude(curve, peak.from - 1) >= level) --peak.from;
        while (peak.to < count && near(peak.to) && magnitude(curve, peak.to) >= level) ++peak.to;
        const std::size_t least = std::min(count, fewest_points_of_local_fit + 1);
        while (peak.to - peak.from < least) {
            if (peak.from > 0) --peak.from;
            if (peak.to < count) ++peak.to;
        }
        peaks.push_back(peak);
    }
    std::stable_sort(peaks.begin(), peaks.end(), [&](const CurvePeak& a, const CurvePeak& b) {
        return magnitude(curve, a.index) > magnitude(curve, b.index);
    });
    return peaks;
}

ReadPoint read_peak(const ImpedanceCurve& curve, const CurvePeak& peak, const std::string& noise_source) {
    return read_extremum(curve, {peak.from, peak.to}, LocalShape::rational, true, noise_source);
}

ReadPoint read_minimum(const ImpedanceCurve& curve, std::size_t from, const std::string& noise_source) {
    std::size_t lowest = from;
    for (std::size_t i = from; i < curve.points.size(); ++i) {
        if (magnitude(curve, i) < magnitude(curve, lowest)) lowest = i;
    }
    Stretch stretch = stretch_around(curve.points, curve.points[lowest].frequency_hz, 1.0 / 3.0);
    // The points asked for alone: beyond them lies the peak's flank.
    if (stretch.from < from && stretch.to - from >= fewest_points_of_local_fit) stretch.from = from;
    return read_extremum(curve, stretch, LocalShape::cubic, false, noise_source);
}

std::optional<Quantity> read_magnitude(const ImpedanceCurve& curve, double frequency_hz,
                                       const std::string& noise_source) {
    if (curve.points.size() < fewest_points_of_local_fit ||
        curve.points.front().frequency_hz > frequency_hz || curve.points.back().frequency_hz < frequency_hz)
        return std::nullopt;
    const Stretch stretch = stretch_around(curve.points, frequency_hz, 1.0 / 8.0);
    return read_value(
        curve, stretch, LocalShape::cubic,
        [&](std::span<const ImpedancePoint> points) {
            return std::abs(fit_locally(points, LocalShape::cubic).at(frequency_hz));
        },
        "ohm", noise_source);
}

PointDoubt doubt_of_point(const ImpedanceCurve& curve, std::size_t index) {
    const ImpedancePoint& point = curve.points[index];
    const double height = std::abs(point.z_ohm);
    double along = point.variance_ohm2;  // along z, and across it
    double across = point.variance_ohm2;
    for (const auto& [source, changes] : curve.systematic) {
        const std::complex<double> turned = changes[index] * std::conj(point.z_ohm) / std::max(height, 1e-12);
        along += turned.real() * turned.real();
        across += turned.imag() * turned.imag();
    }
    return {std::sqrt(along), height > 0.0 ? std::sqrt(across) / height : std::numbers::pi};
}

}  // namespace assay::analysis
