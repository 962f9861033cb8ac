// Two curves over the same frequencies: the right one is read where the left one has its points.
#pragma once

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "analysis/uncertainty/curve.h"

namespace assay::cli {

struct PairedPoint {
    double frequency_hz = 0.0;
    std::complex<double> left{};  // ohms with their phase; decibels where the curve has no ohms
    std::complex<double> right{};

    /// Ohms: right over left less one, in per cent.
    std::complex<double> ratio_percent() const { return 100.0 * (right / left - 1.0); }
    double difference_db() const { return right.real() - left.real(); }
};

struct PairedCurve {
    std::vector<PairedPoint> points{};
    bool impedance = false;  // else decibels
    /// Straight over the logarithm of the frequency, between two points of the right curve.
    bool interpolated = false;
};

/// Curves with frequency_hz, magnitude_ohm and phase_deg, or with frequency_hz and magnitude_db, both rising
/// in frequency. None where the two are not of one kind.
std::optional<PairedCurve> paired_curve(const analysis::Curve& left, const analysis::Curve& right);

}  // namespace assay::cli
