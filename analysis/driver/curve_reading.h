// What a person reads off an impedance curve, with its uncertainty: resonance, maximum, minimum above it, the
// magnitude at a frequency; and what does not belong there: second peaks, ripples, points that stray.
//
// Values come from a local fit (local_fit.h) over the points around, their uncertainty from how the value
// moves when each point moves by its own scatter, and when all points move together with each systematic
// effect (JCGM 100:2008, 5.1.3, derivatives by finite differences).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/driver/impedance_curve.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

struct CurvePeak {
    std::size_t index = 0;  // highest point
    std::size_t from = 0;   // points around it that belong to the peak's top: [from, to)
    std::size_t to = 0;
    double prominence = 1.0;  // its height over the higher of the two troughs beside it
};

/// Maxima between the ends whose height stands out from both sides by `least_prominence` and by the points'
/// own scatter, by falling height. A rise towards an end is none.
std::vector<CurvePeak> peaks_of(const ImpedanceCurve& curve, double least_prominence);

struct ReadPoint {
    Quantity frequency_hz{};
    Quantity magnitude_ohm{};
};

/// `noise_source` is the id that random scatter is put under.
ReadPoint read_peak(const ImpedanceCurve& curve, const CurvePeak& peak, const std::string& noise_source);

/// The lowest magnitude from a point on.
ReadPoint read_minimum(const ImpedanceCurve& curve, std::size_t from, const std::string& noise_source);

/// Nothing outside the curve.
std::optional<Quantity> read_magnitude(const ImpedanceCurve& curve, double frequency_hz,
                                       const std::string& noise_source);

/// Standard uncertainty of a point's magnitude (ohm) and phase (rad), all effects together.
struct PointDoubt {
    double magnitude_ohm = 0.0;
    double phase_rad = 0.0;
};
PointDoubt doubt_of_point(const ImpedanceCurve& curve, std::size_t index);

/// Single points that lie off what their neighbours say, far beyond their scatter: something else sounded at
/// that frequency.
std::vector<std::size_t> stray_points(const ImpedanceCurve& curve);

struct Ripple {
    double frequency_hz = 0.0;
    double depth = 0.0;  // deviation from the smooth course, relative
};

/// Where several neighbouring points leave the smooth course by more than `least_depth`; outside the peaks.
std::vector<Ripple> ripples_of(const ImpedanceCurve& curve, const std::vector<CurvePeak>& peaks,
                               double least_depth);

}  // namespace assay::analysis
