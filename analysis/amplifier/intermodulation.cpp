#include "analysis/amplifier/intermodulation.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "analysis/amplifier/faint_line.h"

namespace assay::analysis {

namespace {

constexpr int highest_order = 5;  // of all products that are fitted, so that none leaks into another
constexpr double lowest_hz = 10.0;
constexpr double apart_cycles = 2.0;  // over the record: lines nearer than that are one

/// The lines asked for, then every other product up to the order.
std::vector<double> lines_of(double low_hz, double high_hz, double highest_hz, double least_apart_hz,
                             const std::vector<double>& wanted) {
    std::vector<double> lines = wanted;
    for (int total = 1; total <= highest_order; ++total) {
        for (int m = -total; m <= total; ++m) {
            for (const int n : {total - std::abs(m), std::abs(m) - total}) {
                const double hz = std::abs(m * low_hz + n * high_hz);
                const bool there = std::ranges::any_of(
                    lines, [&](double line) { return std::abs(line - hz) < least_apart_hz; });
                if (hz >= lowest_hz && hz <= highest_hz && !there) lines.push_back(hz);
            }
        }
    }
    return lines;
}

}  // namespace

IntermodulationReading read_pair(std::span<const double> volts, double rate_hz, double low_hz, double high_hz,
                                 PairMethod method, double highest_hz) {
    const bool modulation = method == PairMethod::modulation;
    const double step_hz = modulation ? low_hz : high_hz - low_hz;
    const std::vector<double> second =
        modulation ? std::vector{high_hz - step_hz, high_hz + step_hz} : std::vector{step_hz};
    const std::vector<double> third = modulation
                                          ? std::vector{high_hz - 2.0 * step_hz, high_hz + 2.0 * step_hz}
                                          : std::vector{low_hz - step_hz, high_hz + step_hz};
    const auto inside = [&](const std::vector<double>& products) {
        return std::ranges::all_of(products, [&](double hz) { return hz >= lowest_hz && hz <= highest_hz; });
    };
    std::vector<double> wanted{low_hz, high_hz};
    if (inside(second)) wanted.insert(wanted.end(), second.begin(), second.end());
    if (inside(third)) wanted.insert(wanted.end(), third.begin(), third.end());
    const double least_apart_hz = apart_cycles * rate_hz / static_cast<double>(volts.size());
    const std::vector<Line> lines =
        fit_lines(volts, rate_hz, lines_of(low_hz, high_hz, highest_hz, least_apart_hz, wanted));

    IntermodulationReading reading;
    const double low = lines[0].amplitude();
    const double high = lines[1].amplitude();
    reading.low_v = low / std::numbers::sqrt2;
    reading.high_v = high / std::numbers::sqrt2;
    const double reference = modulation ? high : low + high;
    std::size_t next = 2;
    const auto product = [&](const std::vector<double>& frequencies) -> std::optional<Product> {
        if (!inside(frequencies)) return std::nullopt;
        Product result;
        for (std::size_t k = 0; k < frequencies.size(); ++k, ++next) {
            result.ratio += lines[next].amplitude() / reference;
            result.noise = std::hypot(result.noise, lines[next].doubt / reference);
        }
        return result;
    };
    reading.second = product(second);
    reading.third = product(third);
    return reading;
}

}  // namespace assay::analysis
