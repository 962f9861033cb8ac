// Takes of the simulated bench without files, and a harmonic projection: what the tests of the
// simulation measure with. Nothing of analysis/ is used: the simulation is judged by means of its own.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

#include "capture/simulated/bench_run.h"

namespace assay::capture::test {

/// Two outputs and two probes, each with its load to ground; noiseless card with divider 20.
inline Bench two_channel_bench(double load_ohm) {
    Bench bench;
    bench.source = Source::simulated;
    bench.outputs = {Output{.name = "left", .channel = 1, .volts_at_full_scale = 2.0},
                     Output{.name = "right", .channel = 2, .volts_at_full_scale = 2.0}};
    bench.inputs = {Input{.name = "probe-a", .channel = 1, .volts_at_full_scale = 2.0, .attenuation = 20.0},
                    Input{.name = "probe-b", .channel = 2, .volts_at_full_scale = 2.0, .attenuation = 20.0}};
    bench.loads = {Load{.name = "load-a", .resistance_ohm = load_ohm, .driven_by = {0}, .plus = 0},
                   Load{.name = "load-b", .resistance_ohm = load_ohm, .driven_by = {1}, .plus = 1}};
    bench.simulated.card.noise_dbfs = -200.0;
    bench.simulated.card.delay_s = 0.0;
    bench.simulated.amplifier.noise_v = 0.0;
    return bench;
}

/// One load between the two probes, reached by one output.
inline Bench bridged_bench(double load_ohm) {
    Bench bench = two_channel_bench(load_ohm);
    bench.outputs.pop_back();
    bench.loads = {
        Load{.name = "load-bridged", .resistance_ohm = load_ohm, .driven_by = {0}, .plus = 0, .minus = 1}};
    return bench;
}

inline Tone steady_tone(double frequency_hz, double level_dbfs, double seconds, double rate_hz = 96000.0) {
    Tone tone;
    tone.rate_hz = rate_hz;
    tone.frames = static_cast<std::int64_t>(std::llround(seconds * rate_hz));
    tone.segments = {Segment{.first_frame = 0,
                             .frames = tone.frames,
                             .law = SteadySine{frequency_hz, 0.0},
                             .level_dbfs = level_dbfs,
                             .fade_frames = 0}};
    return tone;
}

using Channels = std::vector<std::vector<double>>;

/// Sample values, one vector a channel.
inline Channels record(const Bench& bench, const Tone& tone, std::vector<std::size_t> outputs,
                       std::vector<std::size_t> loads = {}) {
    const auto count = static_cast<std::size_t>(recorded_channels(bench));
    Channels channels(count);
    const auto sink = [&](std::span<const float> frames) -> Result<void> {
        for (std::size_t i = 0; i < frames.size(); ++i) {
            channels[i % count].push_back(static_cast<double>(frames[i]));
        }
        return {};
    };
    const std::atomic<bool> stop{false};
    const SimulatedTake take{"take", &tone, std::move(outputs), std::move(loads)};
    if (const auto done = simulate_take(bench, take, sink, {}, stop); !done)
        throw std::runtime_error(done.error().text);
    return channels;
}

/// The complex amplitude (peak) of one frequency over [first, first + count). Over whole cycles this
/// projection is the least-squares fit, since sines of whole cycles are orthogonal.
inline std::complex<double> projected(const std::vector<double>& samples, std::size_t first,
                                      std::size_t count, double frequency_hz, double rate_hz) {
    constexpr std::size_t stretch = 256;  // after which the turning pointer is set anew
    const std::complex<double> turn = std::polar(1.0, -2.0 * std::numbers::pi * frequency_hz / rate_hz);
    std::complex<double> sum = 0.0;
    std::complex<double> pointer = 1.0;
    for (std::size_t i = 0; i < count; ++i) {
        if (i % stretch == 0) {
            const double turns = std::fmod(frequency_hz * static_cast<double>(first + i) / rate_hz, 1.0);
            pointer = std::polar(1.0, -2.0 * std::numbers::pi * turns);
        }
        sum += samples.at(first + i) * pointer;
        pointer = {pointer.real() * turn.real() - pointer.imag() * turn.imag(),
                   pointer.real() * turn.imag() + pointer.imag() * turn.real()};
    }
    return 2.0 / static_cast<double>(count) * sum;
}

inline double decibels(double amplitude_ratio) {
    return 20.0 * std::log10(amplitude_ratio);
}

/// All harmonics from the 2nd up to 20 kHz re the fundamental.
inline double thd(const std::vector<double>& samples, std::size_t first, std::size_t count,
                  double frequency_hz, double rate_hz) {
    double square = 0.0;
    for (double harmonic_hz = 2.0 * frequency_hz; harmonic_hz <= 20000.0; harmonic_hz += frequency_hz) {
        square += std::norm(projected(samples, first, count, harmonic_hz, rate_hz));
    }
    return std::sqrt(square) / std::abs(projected(samples, first, count, frequency_hz, rate_hz));
}

inline double rms(const std::vector<double>& samples, std::size_t first, std::size_t count) {
    double square = 0.0;
    for (std::size_t i = 0; i < count; ++i) square += samples.at(first + i) * samples.at(first + i);
    return std::sqrt(square / static_cast<double>(count));
}

}  // namespace assay::capture::test
