#include "analysis/driver/fit_data.h"

#include <algorithm>
#include <cmath>

namespace assay::analysis {

namespace {

constexpr std::size_t many_points = 800;
constexpr double same_frequency = 1.002;

/// First point of each group, and the end.
std::vector<std::size_t> groups_of(const std::vector<ImpedancePoint>& points, std::size_t end) {
    std::vector<std::size_t> starts;
    for (std::size_t i = 0; i < end; ++i) {
        if (starts.empty() || end <= many_points ||
            points[i].frequency_hz > same_frequency * points[starts.back()].frequency_hz)
            starts.push_back(i);
    }
    starts.push_back(end);
    return starts;
}

}  // namespace

double fit_top_hz(double fs_hz) {
    return std::max(5000.0, 50.0 * fs_hz);
}

ImpedanceCurve fit_data(const ImpedanceCurve& curve, double to_hz) {
    std::size_t end = 0;
    while (end < curve.points.size() && curve.points[end].frequency_hz <= to_hz) ++end;
    ImpedanceCurve kept;
    if (end == 0) return kept;
    const std::vector<std::size_t> starts = groups_of(curve.points, end);
    for (std::size_t g = 0; g + 1 < starts.size(); ++g) {
        const double count = static_cast<double>(starts[g + 1] - starts[g]);
        ImpedancePoint mean;
        double log_sum = 0.0;
        for (std::size_t i = starts[g]; i < starts[g + 1]; ++i) {
            log_sum += std::log(curve.points[i].frequency_hz);
            mean.z_ohm += curve.points[i].z_ohm / count;
            mean.variance_ohm2 += curve.points[i].variance_ohm2 / (count * count);
        }
        mean.frequency_hz = count == 1.0 ? curve.points[starts[g]].frequency_hz : std::exp(log_sum / count);
        kept.points.push_back(mean);
    }
    for (const auto& [source, changes] : curve.systematic) {
        std::vector<std::complex<double>>& means = kept.systematic[source];
        for (std::size_t g = 0; g + 1 < starts.size(); ++g) {
            std::complex<double> sum{};
            for (std::size_t i = starts[g]; i < starts[g + 1]; ++i) sum += changes[i];
            means.push_back(sum / static_cast<double>(starts[g + 1] - starts[g]));
        }
    }
    return kept;
}

}  // namespace assay::analysis
