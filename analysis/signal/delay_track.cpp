#include "analysis/signal/delay_track.h"

#include <algorithm>
#include <cmath>
#include <complex>

#include "analysis/signal/lanes.h"
#include "analysis/signal/median.h"
#include "analysis/signal/windows.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

constexpr std::size_t most_lines = 48;
constexpr double widest_jump_s = 0.05;
constexpr double smallest_jump_s = 2e-6;
constexpr double jump_over_scatter = 12.0;
// One minus the likeness of two windows: half the mean square of the phases' scatter. 10 ms of something else
// in half a second scatter them by 0.02 to 0.04.
constexpr double disturbed = 2e-4;
constexpr double disturbed_over_typical = 50.0;

struct Lines {
    std::vector<double> radians_per_sample{};
    std::vector<double> radians_per_second{};
    double window_s = 0.0;
};

Lines choose(std::span<const double> lines_hz, double rate_hz, double clock_ratio) {
    Lines chosen;
    double top = 0.0;
    for (const double line : lines_hz) {
        if (line < 0.4 * rate_hz) top = std::max(top, line);
    }
    std::vector<double> octave;
    double closest = 1e9;
    for (std::size_t k = 0; k < lines_hz.size(); ++k) {
        if (lines_hz[k] > top || lines_hz[k] < 0.5 * top) continue;
        octave.push_back(lines_hz[k]);
        if (k > 0) closest = std::min(closest, lines_hz[k] - lines_hz[k - 1]);
        if (k + 1 < lines_hz.size()) closest = std::min(closest, lines_hz[k + 1] - lines_hz[k]);
    }
    if (octave.size() < 4) return chosen;
    chosen.window_s = 4.5 / closest;
    const std::size_t stride = octave.size() / most_lines + 1;
    for (std::size_t k = 0; k < octave.size(); k += stride) {
        const double radians_per_second = two_pi * octave[k] / clock_ratio;
        chosen.radians_per_second.push_back(radians_per_second);
        chosen.radians_per_sample.push_back(radians_per_second / rate_hz);
    }
    return chosen;
}

/// Amplitudes of the lines, their phases as if each began with the samples.
ASSAY_WIDE std::vector<Complex> amplitudes(std::span<const float> samples, std::size_t first,
                                           const std::vector<double>& window, const Lines& lines) {
    std::vector<Complex> result(lines.radians_per_sample.size());
    std::vector<double> weighted(window.size());
    for (std::size_t n = 0; n < window.size(); ++n)
        weighted[n] = window[n] * static_cast<double>(samples[first + n]);
    // Lines side by side: one alone would wait for its own phasor from sample to sample.
    for (std::size_t from = 0; from < result.size(); from += lanes) {
        const std::size_t count = std::min(lanes, result.size() - from);
        double turn_re[lanes] = {};
        double turn_im[lanes] = {};
        double re[lanes] = {};
        double im[lanes] = {};
        double sum_re[lanes] = {};
        double sum_im[lanes] = {};
        for (std::size_t l = 0; l < count; ++l) {
            const double step = lines.radians_per_sample[from + l];
            const Complex turn = std::polar(1.0, -step);
            const Complex phasor = std::polar(1.0, -std::fmod(step * static_cast<double>(first), two_pi));
            turn_re[l] = turn.real();
            turn_im[l] = turn.imag();
            re[l] = phasor.real();
            im[l] = phasor.imag();
        }
        for (const double sample : weighted) {
            for (std::size_t l = 0; l < lanes; ++l) {
                sum_re[l] += sample * re[l];
                sum_im[l] += sample * im[l];
                const double turned = re[l] * turn_re[l] - im[l] * turn_im[l];
                im[l] = re[l] * turn_im[l] + im[l] * turn_re[l];
                re[l] = turned;
            }
        }
        for (std::size_t l = 0; l < count; ++l) result[from + l] = {sum_re[l], sum_im[l]};
    }
    return result;
}

struct Shift {
    double delay_s = 0.0;
    double unlike = 1.0;  // 1 - likeness after the delay is undone
};

Complex turned(const std::vector<Complex>& cross, const Lines& lines, double delay_s) {
    Complex sum{};
    for (std::size_t k = 0; k < cross.size(); ++k)
        sum += cross[k] * std::polar(1.0, lines.radians_per_second[k] * delay_s);
    return sum;
}

Shift shift_between(const std::vector<Complex>& before, const std::vector<Complex>& after,
                    const Lines& lines) {
    std::vector<Complex> cross(before.size());
    double whole = 0.0;
    for (std::size_t k = 0; k < cross.size(); ++k) {
        cross[k] = after[k] * std::conj(before[k]);
        whole += std::abs(cross[k]);
    }
    if (!(whole > 0.0)) return {};
    const double highest = lines.radians_per_second.back();
    const double grid_s = 0.5 / highest;  // half a radian of the highest line
    double best_s = 0.0;
    if (turned(cross, lines, 0.0).real() < 0.9 * whole) {
        double best = -1e300;
        for (double delay_s = -widest_jump_s; delay_s <= widest_jump_s; delay_s += grid_s) {
            const double likeness = turned(cross, lines, delay_s).real();
            if (likeness > best) {
                best = likeness;
                best_s = delay_s;
            }
        }
    }
    for (int pass = 0; pass < 3; ++pass) {
        double above = 0.0;
        double below = 0.0;
        for (std::size_t k = 0; k < cross.size(); ++k) {
            const double w = lines.radians_per_second[k];
            const double phase = std::arg(cross[k] * std::polar(1.0, w * best_s));
            above += std::abs(cross[k]) * w * phase;
            below += std::abs(cross[k]) * w * w;
        }
        best_s -= above / below;
    }
    return {best_s, 1.0 - turned(cross, lines, best_s).real() / whole};
}

}  // namespace

DelayTrack track_delay(std::span<const float> samples, double rate_hz, std::span<const double> lines_hz,
                       double clock_ratio) {
    DelayTrack track;
    track.clock_ratio = clock_ratio;
    const Lines lines = choose(lines_hz, rate_hz, clock_ratio);
    const auto width = static_cast<std::size_t>(lines.window_s * rate_hz) & ~std::size_t{1};
    if (lines.radians_per_second.empty() || width < 16 || samples.size() < 8 * width) return track;
    track.looked = true;
    const std::size_t hop = width / 2;
    const std::vector<double> window = hann_window(width);
    std::vector<std::vector<Complex>> all;
    for (std::size_t first = 0; first + width <= samples.size(); first += hop)
        all.push_back(amplitudes(samples, first, window, lines));

    // A window against the one that begins where it ends.
    std::vector<Shift> shifts;
    std::vector<double> delays;
    std::vector<double> unlike;
    for (std::size_t m = 0; m + 2 < all.size(); ++m) {
        shifts.push_back(shift_between(all[m], all[m + 2], lines));
        delays.push_back(shifts.back().delay_s);
        unlike.push_back(shifts.back().unlike);
    }
    const double typical_s = median(delays);
    std::vector<double> strays;
    strays.reserve(delays.size());
    for (const double delay_s : delays) strays.push_back(std::abs(delay_s - typical_s));
    const double tolerance_s = std::max(smallest_jump_s, jump_over_scatter * median(strays));
    const double unlike_limit = std::max(disturbed, disturbed_over_typical * median(unlike));
    const double width_s = static_cast<double>(width) / rate_hz;
    // Adjacent comparisons that see one break are one break; where it is seen best it lies in the middle.
    for (std::size_t m = 0; m < shifts.size();) {
        const auto broken = [&](std::size_t i) {
            return strays[i] > tolerance_s || shifts[i].unlike > unlike_limit;
        };
        if (!broken(m)) {
            ++m;
            continue;
        }
        std::size_t end = m;
        while (end < shifts.size() && broken(end)) ++end;
        SteadyBreak found;
        found.from_s = 0.5 * width_s * static_cast<double>(m);
        found.to_s = 0.5 * width_s * static_cast<double>(end + 3);
        // The comparison least disturbed has the break nearest to the border of its windows.
        std::size_t best = m;
        for (std::size_t i = m; i < end; ++i) {
            if (shifts[i].unlike < shifts[best].unlike) best = i;
        }
        if (shifts[best].unlike < 0.05 && strays[best] > tolerance_s) {
            found.jump_s = shifts[best].delay_s - typical_s;
            const double border_s = 0.5 * width_s * static_cast<double>(best + 2);
            found.from_s = border_s - 0.5 * width_s;
            found.to_s = border_s + 0.5 * width_s;
        }
        track.breaks.push_back(found);
        m = end;
    }
    // One window later by the tone's clock is width_s / ratio; a delay there means that the ratio is larger.
    track.clock_ratio = clock_ratio * (1.0 + typical_s / width_s);
    return track;
}

}  // namespace assay::analysis
