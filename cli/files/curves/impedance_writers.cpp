#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/units.h"
#include "cli/files/curves/impedance_file.h"
#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

std::string comment_lines(char sign, const std::vector<std::string>& comments) {
    std::string out;
    for (const std::string& comment : comments) out += fmt::format("{} {}\n", sign, visible_text(comment));
    return out;
}

double phase_deg(const std::complex<double>& z) {
    return std::arg(z) * analysis::degrees;
}

bool scatter_known(const analysis::ImpedanceCurve& curve) {
    return !curve.points.empty() &&
           std::all_of(curve.points.begin(), curve.points.end(),
                       [](const analysis::ImpedancePoint& point) { return point.variance_ohm2 > 0.0; });
}

}  // namespace

std::string impedance_csv(const analysis::ImpedanceCurve& curve) {
    const bool scatter = scatter_known(curve);
    std::string out = scatter ? "frequency_hz,magnitude_ohm,phase_deg,scatter_ohm\n"
                              : "frequency_hz,magnitude_ohm,phase_deg\n";
    for (const analysis::ImpedancePoint& point : curve.points) {
        out += fmt::format("{},{},{}", point.frequency_hz, std::abs(point.z_ohm), phase_deg(point.z_ohm));
        if (scatter) out += fmt::format(",{}", std::sqrt(point.variance_ohm2));
        out += '\n';
    }
    return out;
}

std::string impedance_text(const analysis::ImpedanceCurve& curve, const std::vector<std::string>& comments) {
    std::string out = comment_lines('#', comments) + "# frequency_hz magnitude_ohm phase_deg\n";
    for (const analysis::ImpedancePoint& point : curve.points) {
        out += fmt::format("{} {} {}\n", point.frequency_hz, std::abs(point.z_ohm), phase_deg(point.z_ohm));
    }
    return out;
}

std::string impedance_touchstone(const analysis::ImpedanceCurve& curve,
                                 const std::vector<std::string>& comments) {
    // R 1: readers that normalise Z to the reference and readers that do not then agree.
    std::string out = comment_lines('!', comments) + "# Hz Z RI R 1\n";
    for (const analysis::ImpedancePoint& point : curve.points) {
        out += fmt::format("{} {} {}\n", point.frequency_hz, point.z_ohm.real(), point.z_ohm.imag());
    }
    return out;
}

}  // namespace assay::cli
