#include "cli/measures/recording/meter.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/steady_step.h"
#include "analysis/signal/harmonic_fit.h"
#include "analysis/signal/signal.h"
#include "analysis/units.h"
#include "capture/full_scale.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

constexpr double steady_share = 0.005;
constexpr double flat_ratio = 0.985;  // peak over the fundamental's
constexpr double lowest_hz = 15.0;
constexpr double highest_hz = 15000.0;
constexpr double signal_share = 0.5;  // of the power that is the tone's
constexpr double default_threshold_dbfs = -6.0;

double peak_of(std::span<const float> samples) {
    float peak = 0.0F;
    for (const float sample : samples) peak = std::max(peak, std::abs(sample));
    return static_cast<double>(peak);
}

std::span<const float> of_input(const std::vector<std::vector<float>>& channels,
                                const capture::Input& input) {
    return channels[static_cast<std::size_t>(input.channel - 1)];
}

double amplitude(std::span<const double> volts, double rate_hz, double frequency_hz) {
    return analysis::fit_harmonics(volts, rate_hz, frequency_hz,
                                   {.harmonics = 1, .iterations = 0, .with_drift = false})
        .amplitude();
}

}  // namespace

MeterReading meter_reading(const capture::Bench& bench, const capture::Load& load,
                           const std::vector<std::vector<float>>& channels, double rate_hz) {
    MeterReading reading;
    const capture::Input& plus_input = bench.inputs[load.plus];
    const auto signal_of = [&](const capture::Input& input) {
        const double peak = peak_of(of_input(channels, input));
        reading.peak_dbfs = std::max(reading.peak_dbfs, analysis::floored_decibels(peak, 1e-10));
        reading.overload = reading.overload || peak >= capture::full_scale;
        return analysis::Signal{of_input(channels, input), rate_hz, input.volts_per_unit()};
    };
    const analysis::Signal plus = signal_of(plus_input);
    analysis::Signal minus{};
    if (load.minus) minus = signal_of(bench.inputs[*load.minus]);
    const std::vector<double> volts = analysis::volts_between(plus, minus);
    const double guess = analysis::strongest_line_hz(volts, rate_hz, lowest_hz, highest_hz);
    if (!std::isfinite(guess) || guess < lowest_hz) return reading;
    analysis::StepOptions options;
    options.frequency_guess_hz = guess;
    options.nominal_hz = guess;
    options.high_pass_hz = plus_input.high_pass_hz.value_or(0.0);
    analysis::StepReading step = analysis::read_step(volts, rate_hz, options);
    refer_to_scale(plus_input, step);
    if (!std::isfinite(step.total_v) || step.total_v <= 0.0) return reading;
    reading.voltage_v = step.total_v;
    if (std::isfinite(load.resistance_ohm))
        reading.power_w = step.total_v * step.total_v * conductance_at(load, step.frequency_hz);
    reading.signal = step.fundamental_v * step.fundamental_v > signal_share * step.total_v * step.total_v;
    if (!reading.signal) return reading;
    reading.frequency_hz = step.frequency_hz;
    const std::span<const double> all(volts);
    const std::size_t third = volts.size() / 3;
    const double first = amplitude(all.first(third), rate_hz, step.frequency_hz);
    const double last = amplitude(all.last(third), rate_hz, step.frequency_hz);
    reading.steady = std::abs(last / first - 1.0) < steady_share;
    if (!reading.steady || reading.overload) return reading;
    reading.thd = step.thd;
    reading.thd_plus_noise = step.thd_plus_noise;
    const double sine_peak_v = std::numbers::sqrt2 * step.fundamental_v;
    reading.clips_positive = step.peak_positive_v < flat_ratio * sine_peak_v;
    reading.clips_negative = std::abs(step.peak_negative_v) < flat_ratio * sine_peak_v;
    return reading;
}

bool detector_shows(const capture::Input& input, std::span<const float> samples) {
    const double threshold =
        analysis::ratio_from_decibels(input.threshold_dbfs.value_or(default_threshold_dbfs));
    return peak_of(samples) >= threshold;
}

}  // namespace assay::cli
