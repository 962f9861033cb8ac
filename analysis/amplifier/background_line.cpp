#include "analysis/amplifier/background_line.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <vector>

#include "analysis/signal/median.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double least_over_noise = 3.0;  // mean square over that of noise alone
// The mains keep within 0.2 Hz of their name (EN 50160), clocks apart.
constexpr double mains_within_hz = 0.35;
constexpr double steady_share =
    0.1;  // of the variance of any phase: more could be chance, or hum that wanders
constexpr std::size_t fewest_stretches = 3;  // three unknowns: size, phase, frequency

std::complex<double> turned(const HeardLine& line, double difference_hz, double middle_s) {
    return line.phasor * std::polar(1.0, -two_pi * difference_hz * (line.at_s - middle_s));
}

std::complex<double> mean_turned(std::span<const HeardLine> heard, double difference_hz, double middle_s) {
    std::complex<double> sum{};
    for (const HeardLine& line : heard) sum += turned(line, difference_hz, middle_s);
    return sum / static_cast<double>(heard.size());
}

/// By a grid that no peak falls through, then by halving its steps.
double best_difference(std::span<const HeardLine> heard, double middle_s) {
    const auto [first, last] = std::ranges::minmax_element(heard, {}, &HeardLine::at_s);
    double step_hz = 0.1 / std::max(last->at_s - first->at_s, 1.0);
    const auto size = [&](double hz) { return std::norm(mean_turned(heard, hz, middle_s)); };
    double best_hz = 0.0;
    for (double hz = -mains_within_hz; hz <= mains_within_hz; hz += step_hz) {
        if (size(hz) > size(best_hz)) best_hz = hz;
    }
    for (int halving = 0; halving < 20; ++halving) {
        step_hz *= 0.5;
        for (const double hz : {best_hz - step_hz, best_hz + step_hz}) {
            if (size(hz) > size(best_hz)) best_hz = hz;
        }
    }
    return best_hz;
}

}  // namespace

Background background_at(std::span<const HeardLine> heard, double at_s) {
    Background background;
    if (heard.empty()) return background;
    const auto count = static_cast<double>(heard.size());
    std::vector<double> squares;
    double noise = 0.0;  // variance of one part
    double middle_s = 0.0;
    for (const HeardLine& line : heard) {
        squares.push_back(std::norm(line.phasor));
        noise += line.doubt * line.doubt / count;
        middle_s += line.at_s / count;
    }
    // The middle one: products of hum and tone fall on the line in a stretch or two, hum is in all of them.
    if (median(squares) < least_over_noise * 2.0 * noise) return background;
    const double square = std::accumulate(squares.begin(), squares.end(), 0.0) / count;
    background.size = std::sqrt(square - 2.0 * noise);
    // Of any phase: each part has half of its square.
    background.doubt = background.size / std::numbers::sqrt2;
    if (heard.size() < fewest_stretches) return background;

    const double difference_hz = best_difference(heard, middle_s);
    const std::complex<double> line = mean_turned(heard, difference_hz, middle_s);
    double residual = 0.0;
    double spread_s2 = 0.0;
    for (const HeardLine& each : heard) {
        residual += std::norm(turned(each, difference_hz, middle_s) - line);
        spread_s2 += std::pow(each.at_s - middle_s, 2.0);
    }
    // Two parts each, less three unknowns. So few tell their own scatter badly: widened as the variance of
    // the t distribution is, by freedom / (freedom - 2) (JCGM 101, 6.4.9).
    const double scatter = residual / (2.0 * count - 5.0);
    const double away_s2 = std::pow(at_s - middle_s, 2.0);
    // Mean of so many; the frequency's own doubt turns the phase, which lies in one of the two parts; and
    // what the hum itself strays.
    const double variance =
        scatter / count + 0.5 * scatter * away_s2 / spread_s2 + std::max(scatter - noise, 0.0);
    if (variance >= steady_share * background.doubt * background.doubt) return background;
    background.phasor = line * std::polar(1.0, two_pi * difference_hz * (at_s - middle_s));
    background.doubt = std::sqrt(variance);
    return background;
}

}  // namespace assay::analysis
