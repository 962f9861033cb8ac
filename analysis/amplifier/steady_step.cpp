#include "analysis/amplifier/steady_step.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/disturbance.h"
#include "analysis/amplifier/mean_cycle.h"
#include "analysis/signal/band_power.h"
#include "analysis/signal/harmonic_fit.h"

namespace assay::analysis {

namespace {
constexpr double band_start_hz = 20.0;
constexpr double hum_end_hz = 420.0;  // the 8th harmonic of 50 Hz, the 7th of 60 Hz
}  // namespace

int harmonics_within(double nominal_hz, double bandwidth_hz, double rate_hz) {
    // By nominal order: a clock that is a little off must not move a harmonic across the edge. Half the rate
    // keeps a margin in which no converter's filter passes anything anyway.
    const double top_hz = std::min(bandwidth_hz * (1.0 + 1e-9), 0.4999 * rate_hz);
    return std::max(1, static_cast<int>(std::floor(top_hz / nominal_hz)));
}

StepReading read_step(std::span<const double> volts, double rate_hz, const StepOptions& options) {
    StepReading reading;
    const int harmonics = harmonics_within(options.nominal_hz, options.bandwidth_hz, rate_hz);
    const HarmonicFit fit =
        fit_harmonics(volts, rate_hz, options.frequency_guess_hz, {.harmonics = harmonics});
    reading.frequency_hz = fit.frequency_hz;
    reading.drift_per_record = fit.drift_per_record;
    reading.harmonics_in_band = harmonics - 1;
    const double amplitude = fit.amplitude();
    reading.fundamental_v = amplitude / std::numbers::sqrt2;
    if (amplitude <= 0.0) return reading;

    const double count = static_cast<double>(volts.size());
    const double top_hz = std::min(options.bandwidth_hz, 0.5 * rate_hz);
    const PowerSpectrum residual = power_spectrum(fit.residual, rate_hz);
    const double noise_square = residual.within(band_start_hz, top_hz);
    const double density = residual.noise_density(band_start_hz, top_hz);
    // Noise density in the band gives the variance of each harmonic's amplitude: 2 sigma^2 / N with sigma^2
    // the variance that white noise of this density would have over half the rate. Hum and whistles lie
    // elsewhere than the harmonics and are no part of it.
    const double white_square = density * 0.5 * rate_hz;
    const double harmonic_variance = 2.0 * white_square / count;  // of each quadrature

    reading.phase_rad = std::arg(fit.phasors[0]);
    const std::complex<double> turn = fit.phasors[0] / amplitude;
    std::complex<double> phase = 1.0;
    double harmonic_square = 0.0;
    for (std::size_t k = 0; k < fit.phasors.size(); ++k) {
        phase *= turn;
        reading.harmonics.push_back(fit.phasors[k] / phase / amplitude);
        if (k > 0) harmonic_square += std::norm(fit.phasors[k]);
    }
    // E|measured|^2 = |true|^2 + 2 * (variance of one quadrature): what noise adds is taken off in power.
    const double added = 2.0 * harmonic_variance * (harmonics - 1);
    reading.thd = std::sqrt(std::max(harmonic_square - added, 0.0)) / amplitude;
    reading.thd_noise = std::sqrt(harmonic_variance) / amplitude *
                        std::max(1.0, std::sqrt(std::sqrt(2.0 * std::max(harmonics - 1, 1))));
    // A sum of 2m squared quadratures, each with the variance v, varies by 4 v S + 4 m v^2 (noncentral
    // chi-squared). A sum near nothing is taken as large as noise makes it.
    const double many = std::max(harmonics - 1, 1);
    const double harmonic_sum = std::max(harmonic_square - added, 0.0);
    const double least_sum = std::sqrt(many / 2.0) * harmonic_variance;
    reading.thd_doubt = harmonic_variance > 0.0
                            ? std::sqrt(harmonic_variance * (1.0 + many * harmonic_variance /
                                                                       std::max(harmonic_sum, least_sum))) /
                                  amplitude
                            : 0.0;
    reading.noise_v = std::sqrt(noise_square);
    const double broadband_square = density * (hum_end_hz - band_start_hz);
    reading.hum_v = std::sqrt(std::max(residual.within(band_start_hz, hum_end_hz) - broadband_square, 0.0));
    const double in_band = options.nominal_hz >= band_start_hz ? amplitude * amplitude / 2.0 : 0.0;
    const double total_square = in_band + harmonic_square / 2.0 + noise_square;
    reading.total_v = std::sqrt(total_square);
    reading.thd_plus_noise = std::sqrt((harmonic_square / 2.0 + noise_square) / total_square);
    // Noise of bandwidth B, averaged for T, varies by 1 / sqrt(B T) of its power (J. S. Bendat, A. G.
    // Piersol, Random Data, from memory).
    const double sum_variance = harmonic_variance * harmonic_sum +
                                many * harmonic_variance * harmonic_variance +
                                density * density * std::max(top_hz - band_start_hz, 0.0) * rate_hz / count;
    if (reading.thd_plus_noise > 0.0)
        reading.thd_plus_noise_doubt =
            std::sqrt(sum_variance) / (2.0 * reading.thd_plus_noise * total_square);
    reading.fundamental_doubt_v = std::sqrt(white_square / count);

    const MeanCycle cycle = mean_cycle(volts, rate_hz, fit.frequency_hz, std::arg(fit.phasors[0]));
    const Peaks peaks = peaks_of(cycle, options.high_pass_hz / fit.frequency_hz);
    reading.peak_positive_v = peaks.positive;
    reading.peak_negative_v = peaks.negative;

    const Disturbance disturbance = disturbance_within(volts, rate_hz, fit.frequency_hz);
    reading.disturbed = disturbance.found;
    reading.disturbed_at_s = disturbance.at_s;
    reading.level_jumped = disturbance.level;
    return reading;
}

}  // namespace assay::analysis
