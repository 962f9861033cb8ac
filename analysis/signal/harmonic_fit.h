// Least-squares fit of a sine with harmonics, frequency unknown.
//
// Model, n counted from the centre of the record:
//   y[n] = dc + sum_k ( a_k cos(k w n) + b_k sin(k w n) ) + n (p cos(w n) + q sin(w n))
// The two last columns are the derivatives by frequency and by a slow drift of the amplitude (supply sag,
// heat); Gauss-Newton on w until p, q hold drift alone. This is the four-parameter fit of IEEE Std 1057 in
// its multi-harmonic form. The normal equations are closed sums (Dirichlet kernel and its derivatives), so a
// record need not hold whole cycles and only the projections cost time.
//
// Range: at least 3 cycles, frequency known beforehand to better than 0.3 cycles over the record, highest
// harmonic below half the rate. Variance of the amplitude: 2 sigma^2 / N (Cramer-Rao bound).
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace assay::analysis {

struct HarmonicFit {
    double frequency_hz = 0.0;
    double dc = 0.0;
    /// Peak phasors at the record's centre: harmonic k is Re( phasor[k-1] e^{j k w n} ); [0] is the
    /// fundamental.
    std::vector<std::complex<double>> phasors{};
    double drift_per_record = 0.0;  // relative change of the fundamental's amplitude over the record
    double sigma = 0.0;             // RMS of what is left, corrected for the number of parameters
    std::vector<double> residual{};

    double amplitude() const { return phasors.empty() ? 0.0 : std::abs(phasors[0]); }
};

struct HarmonicFitOptions {
    int harmonics = 1;   // number of harmonics, the fundamental included
    int iterations = 4;  // Gauss-Newton steps at most; 0 keeps the frequency
    bool with_drift = true;
};

HarmonicFit fit_harmonics(std::span<const double> record, double rate_hz, double frequency_guess_hz,
                          const HarmonicFitOptions& options);

/// Frequency of the strongest line between two limits: Hann-windowed spectrum, parabola through the
/// logarithms. Good to a few hundredths of a bin: a start for the fit. The lower limit where it lies beyond
/// half the rate.
double strongest_line_hz(std::span<const double> record, double rate_hz, double from_hz, double to_hz);

}  // namespace assay::analysis
