#include "cli/commands/live/heard_tone.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "analysis/signal/harmonic_fit.h"
#include "analysis/units.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double window_s = 0.2;
constexpr double quiet_s = 0.4;           // of the silence before the tone
constexpr double least_amplitude = 3e-6;  // re full scale, of what counts as heard

bool near_mains(double hz) {
    for (const double mains : {50.0, 60.0}) {
        const double order = std::round(hz / mains);
        if (order >= 1.0 && order <= 6.0 && std::abs(hz - order * mains) < 3.0) return true;
    }
    return false;
}

}  // namespace

std::size_t loudest_window(const std::vector<std::vector<float>>& channels, double rate_hz,
                           double frequency_hz, std::size_t length) {
    double best = -1.0;
    std::size_t at = 0;
    for (std::size_t first = 0; first + length <= channels.front().size(); first += length / 4) {
        double sum = 0.0;
        for (const auto& samples : channels) {
            std::complex<double> projection = 0.0;
            for (std::size_t n = 0; n < length; ++n) {
                projection +=
                    static_cast<double>(samples[first + n]) *
                    std::polar(1.0, -analysis::two_pi * frequency_hz * static_cast<double>(n) / rate_hz);
            }
            sum += std::norm(projection);
        }
        if (sum > best) {
            best = sum;
            at = first;
        }
    }
    return at;
}

Result<std::vector<std::vector<float>>> read_inputs(const capture::Bench& bench,
                                                    const capture::Recording& recording) {
    auto reader = capture::RecordingReader::open(recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    std::vector<int> numbers;
    for (const capture::Input& input : bench.inputs) numbers.push_back(input.channel);
    return reader->read(numbers, 0, recording.frames);
}

Result<std::vector<HeardInput>> listen(const capture::Bench& bench, const capture::Recording& recording,
                                       double frequency_hz) {
    const auto channels = read_inputs(bench, recording);
    if (!channels) return tl::unexpected<capture::Fault>(channels.error());
    const auto length = static_cast<std::size_t>(window_s * recording.rate_hz);
    const auto quiet = static_cast<std::size_t>(quiet_s * recording.rate_hz);
    std::vector<HeardInput> heard(bench.inputs.size());
    if (channels->front().size() < length + quiet) return heard;
    const std::size_t at = loudest_window(*channels, recording.rate_hz, frequency_hz, length);
    const int harmonics = std::clamp(static_cast<int>(0.45 * recording.rate_hz / frequency_hz), 1, 3);
    double loudest = -1.0;
    double loudest_phase = 0.0;
    std::vector<double> phases;
    for (std::size_t i = 0; i < heard.size(); ++i) {
        const auto& samples = (*channels)[i];
        const double scale = std::abs(bench.inputs[i].volts_per_unit());
        const std::vector<double> window(samples.begin() + static_cast<std::ptrdiff_t>(at),
                                         samples.begin() + static_cast<std::ptrdiff_t>(at + length));
        const auto fit =
            analysis::fit_harmonics(window, recording.rate_hz, frequency_hz, {.harmonics = harmonics});
        const double amplitude = fit.amplitude();
        const double doubt = fit.sigma * std::sqrt(2.0 / static_cast<double>(length));
        heard[i].present = std::isfinite(amplitude) && amplitude > least_amplitude &&
                           amplitude > 8.0 * doubt && std::abs(fit.frequency_hz / frequency_hz - 1.0) < 1e-3;
        heard[i].doubt_v = doubt * scale / std::numbers::sqrt2;
        heard[i].volts_rms = amplitude * scale / std::numbers::sqrt2;
        const double sign = bench.inputs[i].inverted ? std::numbers::pi : 0.0;
        phases.push_back(fit.phasors.empty() ? 0.0 : std::arg(fit.phasors[0]) + sign);
        if (heard[i].present && heard[i].volts_rms > loudest) {
            loudest = heard[i].volts_rms;
            loudest_phase = phases.back();
        }
        const std::vector<double> silence(samples.begin(),
                                          samples.begin() + static_cast<std::ptrdiff_t>(quiet));
        double square = 0.0;
        for (const double sample : silence) square += sample * sample;
        heard[i].hum_v = scale * std::sqrt(square / static_cast<double>(quiet));
        heard[i].mains =
            square > 0.0 && near_mains(analysis::strongest_line_hz(silence, recording.rate_hz, 30.0, 400.0));
    }
    for (std::size_t i = 0; i < heard.size(); ++i)
        heard[i].phase_rad = std::remainder(phases[i] - loudest_phase, analysis::two_pi);
    return heard;
}

}  // namespace assay::cli
