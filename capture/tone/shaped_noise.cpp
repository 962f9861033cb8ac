#include "capture/tone/shaped_noise.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <cstdint>
#include <map>
#include <mutex>
#include <tuple>

#include "capture/splitmix64.h"
#include "capture/transform.h"
#include "capture/units.h"

namespace assay::capture {

namespace {

using Values = std::vector<double>;

constexpr double high_pass_hz = 45.0;
constexpr double low_pass_hz = 4000.0;
constexpr double lowest_hz = 10.0;
constexpr double highest_hz = 20000.0;
constexpr double noise_share_of_rate = 0.45;
constexpr double swing_from_hz = 0.09;  // one turn of a period at least
constexpr double swing_to_hz = 2.0;
constexpr double usual_period_s = 8.0;  // the next power of two above it
constexpr int bisections = 60;

double square(double value) {
    return value * value;
}

double power_of_programme(double f) {
    const double high_pass = square(square(f)) / (square(square(f)) + square(square(high_pass_hz)));
    const double low_pass = square(low_pass_hz) / (square(f) + square(low_pass_hz));
    return high_pass * low_pass / f;
}

/// Lines of random phase between two frequencies, of unit RMS.
template <class Power>
Values random_lines(std::size_t frames, double step_hz, double from_hz, double to_hz, std::uint64_t seed,
                    const Power& power) {
    std::vector<std::complex<double>> bins(frames);
    double sum = 0.0;
    for (std::size_t k = 1; k < frames / 2; ++k) {
        const double f = static_cast<double>(k) * step_hz;
        // Of every line, so that the rate does not change the noise.
        const double phase = two_pi * splitmix64_uniform(seed);
        if (f < from_hz || f > to_hz) continue;
        const double weight = power(f);
        sum += 0.5 * weight;
        bins[k] = std::polar(std::sqrt(weight), phase);
    }
    Transform(frames).backward(bins);
    Values values(frames);
    for (std::size_t n = 0; n < frames; ++n) values[n] = bins[n].real() / std::sqrt(sum);
    return values;
}

double peak_of(const Values& values) {
    double peak = 0.0;
    for (const double value : values) peak = std::max(peak, std::abs(value));
    return peak;
}

/// Highest value over RMS, clipped at a level.
double crest_of(const Values& values, double clip) {
    double sum = 0.0;
    for (const double value : values) sum += square(std::min(std::abs(value), clip));
    return clip / std::sqrt(sum / static_cast<double>(values.size()));
}

/// The argument between two at which a rising function reaches a value.
template <class Function>
double where_reaches(double low, double high, double wanted, const Function& function) {
    for (int k = 0; k < bisections && high - low > 1e-12 * high; ++k) {
        const double middle = 0.5 * (low + high);
        (function(middle) < wanted ? low : high) = middle;
    }
    return high;
}

std::vector<float> make_period(const ShapedNoise& noise, std::size_t frames, double rate_hz) {
    const double step_hz = rate_hz / static_cast<double>(frames);
    const double wanted = ratio_from_decibels(noise.crest_factor_db);
    Values values = random_lines(frames, step_hz, lowest_hz,
                                 std::min(highest_hz, noise_share_of_rate * rate_hz), 1, power_of_programme);
    if (crest_of(values, peak_of(values)) < wanted) {
        const Values swing =
            random_lines(frames, step_hz, swing_from_hz, swing_to_hz, 2, [](double) { return 1.0; });
        const auto swung = [&](double depth) {
            Values louder(frames);
            for (std::size_t n = 0; n < frames; ++n) louder[n] = values[n] * std::exp(depth * swing[n]);
            return louder;
        };
        const double depth = where_reaches(0.0, 3.0, wanted, [&](double middle) {
            const Values louder = swung(middle);
            return crest_of(louder, peak_of(louder));
        });
        values = swung(depth);
    }
    const double peak = peak_of(values);
    const double clip =
        where_reaches(1e-3 * peak, peak, wanted, [&](double level) { return crest_of(values, level); });
    std::vector<float> period(frames);
    for (std::size_t n = 0; n < frames; ++n)
        period[n] = static_cast<float>(std::clamp(values[n] / clip, -1.0, 1.0));
    return period;
}

}  // namespace

double noise_period_s(double rate_hz) {
    const auto least = static_cast<std::uint64_t>(std::ceil(usual_period_s * rate_hz));
    return static_cast<double>(std::bit_ceil(least)) / rate_hz;
}

ShapedNoiseValues::ShapedNoiseValues(const ShapedNoise& noise, double rate_hz) {
    using Key = std::tuple<double, double, double>;
    static std::mutex mutex;
    static std::map<Key, std::shared_ptr<const std::vector<float>>> kept;
    const auto frames = std::bit_ceil(static_cast<std::uint64_t>(std::llround(noise.period_s * rate_hz)));
    const std::scoped_lock lock(mutex);
    auto& place = kept[{noise.period_s, noise.crest_factor_db, rate_hz}];
    if (!place) place = std::make_shared<const std::vector<float>>(make_period(noise, frames, rate_hz));
    period_ = place;
}

double ShapedNoiseValues::at(double frame) const {
    const std::vector<float>& values = *period_;
    const double low = std::floor(frame);
    const double share = frame - low;
    const std::size_t index = static_cast<std::size_t>(std::max(low, 0.0)) % values.size();
    const double here = static_cast<double>(values[index]);
    if (share == 0.0) return here;
    return here + share * (static_cast<double>(values[(index + 1) % values.size()]) - here);
}

}  // namespace assay::capture
