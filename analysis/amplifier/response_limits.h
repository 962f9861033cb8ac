// What a response curve says in single numbers: where it has fallen by so much, and how far it departs.
#pragma once

#include <functional>
#include <optional>
#include <span>

namespace assay::analysis {

struct ResponseLimit {
    double frequency_hz = 0.0;
    double db_per_octave = 0.0;  // slope of the curve there, without sign
    double inner_hz = 0.0;  // the points of the curve between which it lies, and how far the nearer one to
    double outer_hz = 0.0;  // the reference is still above it
    double inner_above_db = 0.0;
};

/// Where the curve, followed from the reference frequency downwards (or upwards), first lies `down_db` below
/// its value there; between points a straight line in dB over the logarithm of the frequency. Nothing if it
/// stays above to the curve's end.
std::optional<ResponseLimit> lower_limit(std::span<const double> frequency_hz,
                                         std::span<const double> magnitude_db, double reference_hz,
                                         double down_db);
std::optional<ResponseLimit> upper_limit(std::span<const double> frequency_hz,
                                         std::span<const double> magnitude_db, double reference_hz,
                                         double down_db);

/// The same limit where the curve itself can be asked between its points, which straight lines cut short
/// where it bends. `magnitude_db_at` must be the curve's own law.
ResponseLimit refined(ResponseLimit limit, const std::function<double(double)>& magnitude_db_at);

/// Value of the curve, straight between points in the logarithm of the frequency.
double curve_value(std::span<const double> frequency_hz, std::span<const double> values, double at_hz);

/// Takes the best-fitting delay (least squares over the points, as they are spaced) out of an unwrapped
/// phase, and whole turns and half turns so that it is near zero at the reference. Degrees in and out. Gives
/// seconds.
double remove_delay(std::span<const double> frequency_hz, std::span<double> phase_deg, double reference_hz);

}  // namespace assay::analysis
