// The textbook reading of a driver from three points of its impedance magnitude: the peak, and the two
// frequencies beside it where the magnitude is the geometric mean of peak and Re.
//
// Source: R.H. Small, JAES 20(5), 1972 (from memory): r0 = Zmax/Re, Qms = fs sqrt(r0)/(f2 - f1),
// Qes = Qms/(r0 - 1). Exact for a peak without coil inductance; with a coil it is off by an amount that can
// be told by reading the fitted curve in the same way. Added mass: Mms = m/((fs/fm)^2 - 1). Closed box: Vas =
// V (fc Qec/(fs Qes) - 1).
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace assay::analysis {

struct MagnitudePoint {
    double frequency_hz = 0.0;
    double magnitude_ohm = 0.0;
};

/// A maximum of a curve by rising frequency. That the magnitude rises higher still towards an end, as a coil
/// makes it at 20 kHz, does not matter.
struct Peak {
    std::size_t index = 0;
    double frequency_hz = 0.0;  // of the parabola in log frequency through the points about the top
    double magnitude_ohm = 0.0;
    /// Height over the higher one of the two valleys beside it.
    double prominence = 1.0;
};

/// Peaks that stand above both their valleys by at least `least_prominence` (a ratio), the most prominent one
/// first.
std::vector<Peak> peaks_of(const std::vector<MagnitudePoint>& curve, double least_prominence);

struct ThreePoint {
    double fs_hz = 0.0;
    double f1_hz = 0.0;
    double f2_hz = 0.0;
    double zmax_ohm = 0.0;
    double qms = 0.0;
    double qes = 0.0;
    double qts = 0.0;
    /// sqrt(f1 f2)/fs - 1.
    double asymmetry = 0.0;
};

struct ThreePointReading {
    std::optional<ThreePoint> value{};
    std::string why_not{};  // where there is none
};

ThreePointReading three_point(const std::vector<MagnitudePoint>& curve, double re_ohm);

}  // namespace assay::analysis
