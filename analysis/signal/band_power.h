// Power of what is left when a tone has been taken off a record: noise, hum, other lines.
#pragma once

#include <span>
#include <vector>

namespace assay::analysis {

/// Mean square by frequency, of a Hann-weighted record padded for the transform. A line spreads over two bins
/// of the record's own length to each side and loses nothing in sums that hold them.
struct PowerSpectrum {
    std::vector<double> bins{};  // mean square, from 0 Hz to half the rate
    double bin_hz = 0.0;

    /// Mean square within the band. Bias of white noise: none.
    double within(double low_hz, double high_hz) const;
    /// Mean square a hertz of the broadband noise: from the median bin, which lines do not move. A bin of
    /// noise is distributed as chi-squared of two degrees of freedom, whose median is ln 2 of its mean.
    double noise_density(double low_hz, double high_hz) const;
};

PowerSpectrum power_spectrum(std::span<const double> record, double rate_hz);

/// Mean square within a band, where only one is wanted.
double band_mean_square(std::span<const double> record, double rate_hz, double low_hz, double high_hz);

}  // namespace assay::analysis
