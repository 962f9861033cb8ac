#include "capture/tone/multitone.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <complex>
#include <map>
#include <mutex>
#include <numbers>
#include <tuple>

#include "capture/tone/half_wave_transform.h"
#include "capture/units.h"

namespace assay::capture {

namespace {

using Complex = std::complex<double>;

constexpr double mains_distance_hz = 0.3;
constexpr int phase_rounds = 30;

// Steps of a round, found by trial: where the limit starts and ends, re RMS, and how far what lies above it
// is thrown back.
constexpr double first_limit = 2.0;
constexpr double last_limit = 2.6;
constexpr double throw_back = 8.0;

bool near_mains(double frequency_hz) {
    return std::ranges::any_of(std::array{50.0, 60.0}, [&](double mains_hz) {
        const double multiple = std::max(1.0, std::round(frequency_hz / mains_hz));
        return std::abs(frequency_hz - multiple * mains_hz) < mains_distance_hz;
    });
}

/// Odd multiples of 1 / period.
std::vector<std::size_t> orders_of(const Multitone& multitone) {
    std::vector<std::size_t> orders;
    const double slack = 1e-9;
    const double step = std::exp2(1.0 / multitone.lines_per_octave);
    auto order =
        static_cast<std::size_t>(std::max(1.0, std::ceil(multitone.start_hz * multitone.period_s - slack)));
    if (order % 2 == 0) ++order;
    for (; static_cast<double>(order) <= multitone.stop_hz * multitone.period_s + slack; order += 2) {
        if (near_mains(static_cast<double>(order) / multitone.period_s)) continue;
        if (orders.empty() || static_cast<double>(order) >= static_cast<double>(orders.back()) * step - slack)
            orders.push_back(order);
    }
    return orders;
}

/// M. R. Schroeder, "Synthesis of low-peak-factor signals and binary sequences with low autocorrelation"
/// (IEEE Trans. Inf. Theory 16, 1970): the group delay rises with the power passed, here over the whole
/// period.
std::vector<double> schroeder_phases(const std::vector<std::size_t>& orders) {
    std::vector<double> phases(orders.size(), 0.0);
    const auto count = static_cast<double>(orders.size());
    for (std::size_t k = 1; k < orders.size(); ++k) {
        const double delay = static_cast<double>(k) / count;  // in periods, between the two lines
        phases[k] = phases[k - 1] - two_pi * static_cast<double>(orders[k] - orders[k - 1]) * delay;
    }
    return phases;
}

struct Shape {
    double crest = 0.0;
    double peak = 0.0;
    double rms = 0.0;
};

Shape shape_of(const std::vector<double>& values) {
    Shape shape;
    for (const double value : values) {
        shape.peak = std::max(shape.peak, std::abs(value));
        shape.rms += value * value;
    }
    shape.rms = std::sqrt(shape.rms / static_cast<double>(values.size()));
    shape.crest = shape.peak / shape.rms;
    return shape;
}

std::vector<Complex> lines_with(const std::vector<std::size_t>& orders, const std::vector<double>& phases,
                                std::size_t count) {
    std::vector<Complex> lines(count);
    for (std::size_t k = 0; k < orders.size(); ++k) lines[(orders[k] - 1) / 2] = std::polar(1.0, phases[k]);
    return lines;
}

/// Rounds of clipping in time with the phases kept and the amplitudes put back (E. Van der Ouderaa, J.
/// Schoukens, J. Renneboog, "Peak factor minimization using a time-frequency domain swapping algorithm", IEEE
/// Trans. Instrum. Meas. 37, 1988), what is clipped being thrown back several times as far. The best round is
/// taken.
std::vector<double> flat_phases(const std::vector<std::size_t>& orders) {
    std::vector<double> phases = schroeder_phases(orders);
    std::vector<double> best = phases;
    double best_crest = 1e300;
    double thrown = throw_back;
    HalfWaveTransform transform(std::bit_ceil(orders.back() * 5 / 4 + 8));
    std::vector<double> values;
    std::vector<Complex> lines;
    for (int round = 0; round <= phase_rounds; ++round) {
        lines = lines_with(orders, phases, orders.back() / 2 + 1);
        transform.values(lines, values);
        const Shape shape = shape_of(values);
        if (shape.crest < best_crest) {
            best_crest = shape.crest;
            best = phases;
        } else if (shape.crest > 1.2 * best_crest) {  // thrown too far
            thrown = std::max(1.0, 0.5 * thrown);
            phases = best;
            continue;
        }
        const double limit = shape.rms * (first_limit + (last_limit - first_limit) * round /
                                                            static_cast<double>(phase_rounds));
        for (double& value : values) value += thrown * (std::clamp(value, -limit, limit) - value);
        transform.lines(values, lines);
        for (std::size_t k = 0; k < orders.size(); ++k) phases[k] = std::arg(lines[(orders[k] - 1) / 2]);
    }
    return best;
}

/// Highest value of the sum of lines, from a grid fine enough for parabolas between its points.
double peak_of(const std::vector<std::size_t>& orders, const std::vector<double>& phases) {
    HalfWaveTransform transform(std::bit_ceil(orders.back() * 5));
    std::vector<double> values;
    transform.values(lines_with(orders, phases, orders.back() / 2 + 1), values);
    double peak = 0.0;
    const std::size_t count = values.size();
    for (std::size_t n = 0; n < count; ++n) {
        const double before = n > 0 ? values[n - 1] : -values[count - 1];
        const double after = n + 1 < count ? values[n + 1] : -values[0];
        const double bend = before - 2.0 * values[n] + after;
        const bool top = std::abs(values[n]) >= std::abs(before) && std::abs(values[n]) >= std::abs(after);
        if (!top || bend == 0.0) continue;
        const double slope = 0.5 * (after - before);
        peak = std::max(peak, std::abs(values[n] - 0.5 * slope * slope / bend));
    }
    return peak;
}

using MultitoneKey = std::tuple<double, double, double, double, double>;

/// What was worked out once is kept for the life of the program.
template <class Value>
struct Kept {
    template <class Maker>
    std::shared_ptr<const Value> find_or_make(const MultitoneKey& key, const Maker& make) {
        const std::scoped_lock lock(mutex);
        auto& place = values[key];
        if (!place) place = std::make_shared<const Value>(make());
        return place;
    }
    std::mutex mutex{};
    std::map<MultitoneKey, std::shared_ptr<const Value>> values{};
};

MultitoneKey key_of(const Multitone& multitone, double rate_hz) {
    return {multitone.period_s, multitone.start_hz, multitone.stop_hz, multitone.lines_per_octave, rate_hz};
}

std::vector<ToneLine> make_lines(const Multitone& multitone) {
    const std::vector<std::size_t> orders = orders_of(multitone);
    if (orders.empty()) return {};
    const std::vector<double> phases = flat_phases(orders);
    const double amplitude = 1.0 / peak_of(orders, phases);
    std::vector<ToneLine> lines;
    lines.reserve(orders.size());
    for (std::size_t k = 0; k < orders.size(); ++k) {
        const double phase = std::remainder(phases[k] + 0.5 * std::numbers::pi, two_pi);  // of a sine
        lines.push_back({static_cast<double>(orders[k]) / multitone.period_s, amplitude, phase});
    }
    return lines;
}

std::shared_ptr<const std::vector<ToneLine>> kept_lines(const Multitone& multitone) {
    static Kept<std::vector<ToneLine>> kept;
    return kept.find_or_make(key_of(multitone, 0.0), [&] { return make_lines(multitone); });
}

/// The lines summed at whole frames, each as a pointer that turns; eight frames side by side. A pointer is
/// set anew often enough that its rounding stays below 1e-13.
std::vector<double> sum_of_lines(const std::vector<ToneLine>& lines, double rate_hz, std::size_t frames) {
    constexpr std::size_t lanes = 8;
    constexpr std::size_t stretch = 512 * lanes;
    std::vector<double> out((frames + stretch - 1) / stretch * stretch, 0.0);
    for (const ToneLine& line : lines) {
        const double turn = two_pi * line.frequency_hz / rate_hz;
        const double cosine = std::cos(turn * static_cast<double>(lanes));
        const double sine = std::sin(turn * static_cast<double>(lanes));
        for (std::size_t start = 0; start < out.size(); start += stretch) {
            std::array<double, lanes> x{};
            std::array<double, lanes> y{};
            for (std::size_t i = 0; i < lanes; ++i) {
                const double angle = turn * static_cast<double>(start + i) + line.phase_rad;
                x[i] = line.amplitude * std::cos(angle);
                y[i] = line.amplitude * std::sin(angle);
            }
            for (std::size_t at = start; at < start + stretch; at += lanes) {
                for (std::size_t i = 0; i < lanes; ++i) {
                    out[at + i] += y[i];
                    const double next = x[i] * cosine - y[i] * sine;
                    y[i] = x[i] * sine + y[i] * cosine;
                    x[i] = next;
                }
            }
        }
    }
    out.resize(frames);
    return out;
}

}  // namespace

std::vector<ToneLine> lines_of(const Multitone& multitone) {
    return *kept_lines(multitone);
}

double mean_square_of(const Multitone& multitone) {
    double sum = 0.0;
    for (const ToneLine& line : *kept_lines(multitone)) sum += 0.5 * line.amplitude * line.amplitude;
    return sum;
}

MultitoneValues::MultitoneValues(const Multitone& multitone, double rate_hz)
    : rate_hz_(rate_hz), lines_(kept_lines(multitone)) {
    static Kept<std::vector<double>> kept;
    const double half_frames = 0.5 * multitone.period_s * rate_hz;
    const double whole = std::round(half_frames);
    if (whole < 1.0 || whole > 1e7 || std::abs(half_frames - whole) > 1e-9 * whole) return;
    half_period_ = kept.find_or_make(key_of(multitone, rate_hz), [&] {
        return sum_of_lines(*lines_, rate_hz, static_cast<std::size_t>(whole));
    });
}

double MultitoneValues::at(double frame) const {
    const double whole = std::round(frame);
    if (half_period_ && std::abs(frame - whole) < 1e-7 && whole >= 0.0) {
        const auto index = static_cast<std::size_t>(whole);
        const double value = (*half_period_)[index % half_period_->size()];
        return (index / half_period_->size()) % 2 == 0 ? value : -value;
    }
    double value = 0.0;
    for (const ToneLine& line : *lines_) {
        value += line.amplitude *
                 std::sin(two_pi * std::fmod(line.frequency_hz * frame / rate_hz_, 1.0) + line.phase_rad);
    }
    return value;
}

}  // namespace assay::capture
