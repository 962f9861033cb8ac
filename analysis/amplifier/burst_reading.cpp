#include "analysis/amplifier/burst_reading.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/amplifier/mean_cycle.h"
#include "analysis/signal/harmonic_fit.h"

namespace assay::analysis {

StepReading read_bursts(std::span<const std::span<const double>> bursts, double rate_hz, double frequency_hz,
                        double nominal_hz, double bandwidth_hz) {
    StepReading reading;
    const int harmonics = harmonics_within(nominal_hz, bandwidth_hz, rate_hz);
    double fundamental_square = 0.0;
    double harmonic_square = 0.0;
    double variance = 0.0;
    const auto count = static_cast<double>(bursts.size());
    for (const std::span<const double> burst : bursts) {
        const HarmonicFit fit = fit_harmonics(burst, rate_hz, frequency_hz,
                                              {.harmonics = harmonics, .iterations = 0, .with_drift = false});
        fundamental_square += std::norm(fit.phasors[0]) / count;
        for (std::size_t k = 1; k < fit.phasors.size(); ++k)
            harmonic_square += std::norm(fit.phasors[k]) / count;
        const Peaks peaks = peaks_of(mean_cycle(burst, rate_hz, frequency_hz, std::arg(fit.phasors[0])), 0.0);
        reading.peak_positive_v += peaks.positive / count;
        reading.peak_negative_v += peaks.negative / count;
        variance += 2.0 * fit.sigma * fit.sigma / static_cast<double>(burst.size()) / count;
    }
    // Noise adds to each harmonic twice the variance of one quadrature; that is taken off.
    harmonic_square = std::max(harmonic_square - 2.0 * variance * (harmonics - 1), 0.0);
    const double amplitude = std::sqrt(fundamental_square);
    reading.frequency_hz = frequency_hz;
    reading.harmonics_in_band = harmonics - 1;
    reading.fundamental_v = amplitude / std::numbers::sqrt2;
    reading.fundamental_doubt_v = std::sqrt(variance / count) / std::numbers::sqrt2;
    reading.total_v = std::sqrt(0.5 * (fundamental_square + harmonic_square));
    if (amplitude > 0.0) {
        reading.thd = std::sqrt(harmonic_square) / amplitude;
        reading.thd_noise = std::sqrt(variance) / amplitude *
                            std::max(1.0, std::sqrt(std::sqrt(2.0 * std::max(harmonics - 1, 1))));
    }
    return reading;
}

}  // namespace assay::analysis
