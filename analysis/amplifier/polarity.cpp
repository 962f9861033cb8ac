#include "analysis/amplifier/polarity.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr int points_per_octave = 24;
constexpr double first_step_hz = 12.5;  // between neighbours: half a turn is 40 ms
constexpr double step_growth = 4.0;     // the doubt of one look is far below a turn of the next
constexpr double furthest_deg = 45.0;
constexpr double most_left_deg = 35.0;

struct Point {
    double frequency_hz = 0.0;
    std::complex<double> value{};
};

/// Power-weighted mean delay, by the phase over steps of frequency that grow.
double coarse_delay_s(const std::function<std::complex<double>(double)>& response,
                      const std::vector<Point>& points, double to_hz) {
    double delay_s = 0.0;
    const double widest_hz = to_hz / 16.0;
    for (double step_hz = first_step_hz; step_hz <= std::max(widest_hz, first_step_hz);
         step_hz *= step_growth) {
        std::complex<double> sum{};
        for (const Point& point : points) {
            if (point.frequency_hz + step_hz > to_hz) break;
            // By the frequency, as if the points lay evenly: a coupling's own lateness in the bass is long.
            sum += point.frequency_hz * std::conj(point.value) * response(point.frequency_hz + step_hz);
        }
        const double seen = std::arg(sum * std::polar(1.0, two_pi * step_hz * delay_s));
        delay_s -= seen / (two_pi * step_hz);
    }
    return delay_s;
}

}  // namespace

PolarityReading read_polarity(const std::function<std::complex<double>(double)>& response, double from_hz,
                              double to_hz) {
    std::vector<Point> points;
    const int count = std::max(8, static_cast<int>(points_per_octave * std::log2(to_hz / from_hz)));
    for (int k = 0; k <= count; ++k) {
        const double frequency_hz = from_hz * std::pow(to_hz / from_hz, static_cast<double>(k) / count);
        points.push_back({frequency_hz, response(frequency_hz)});
    }
    PolarityReading reading;
    reading.delay_s = coarse_delay_s(response, points, to_hz);
    std::complex<double> mean{};
    for (const Point& point : points)
        mean += std::norm(point.value) * point.value / std::max(std::abs(point.value), 1e-300) *
                std::polar(1.0, two_pi * point.frequency_hz * reading.delay_s);
    double offset_rad = std::arg(mean);
    // Three rounds: the first one's line brings the phases so near that none is a turn off.
    for (int round = 0; round < 3; ++round) {
        double w = 0.0;
        double wf = 0.0;
        double wff = 0.0;
        double wp = 0.0;
        double wfp = 0.0;
        for (const Point& point : points) {
            const double weight = std::norm(point.value);
            const double f = point.frequency_hz;
            const double phase =
                std::arg(point.value * std::polar(1.0, two_pi * f * reading.delay_s - offset_rad));
            w += weight;
            wf += weight * f;
            wff += weight * f * f;
            wp += weight * phase;
            wfp += weight * f * phase;
        }
        const double determinant = w * wff - wf * wf;
        if (!(determinant > 0.0)) return reading;
        offset_rad += (wff * wp - wf * wfp) / determinant;
        reading.delay_s -= (w * wfp - wf * wp) / determinant / two_pi;
    }
    reading.offset_deg = std::remainder(offset_rad, two_pi) * 360.0 / two_pi;
    const double from_upright = std::abs(reading.offset_deg);
    reading.inverted = from_upright > 90.0;
    double left = 0.0;
    double whole = 0.0;
    for (const Point& point : points) {
        const double weight = std::norm(point.value);
        const double phase = std::arg(
            point.value * std::polar(1.0, two_pi * point.frequency_hz * reading.delay_s - offset_rad));
        left += weight * phase * phase;
        whole += weight;
    }
    reading.left_deg = std::sqrt(left / whole) * 360.0 / two_pi;
    reading.told =
        std::min(from_upright, 180.0 - from_upright) <= furthest_deg && reading.left_deg <= most_left_deg;
    return reading;
}

}  // namespace assay::analysis
