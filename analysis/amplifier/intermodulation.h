// Two tones through a unit: products at sums and differences of their frequencies.
//
// Modulation distortion (lower tone f1 four times the upper f2, unless another ratio is played):
//   d2 = [U(f2-f1) + U(f2+f1)] / U(f2),  d3 = [U(f2-2f1) + U(f2+2f1)] / U(f2),
// difference-frequency distortion (equal tones):
//   d2 = U(f2-f1) / [U(f1) + U(f2)],     d3 = [U(2f1-f2) + U(2f2-f1)] / [U(f1) + U(f2)],
// sums of amplitudes, as the definitions of IEC 60268-3 are remembered (the text was not at hand). Both
// together: the root of the sum of the squares.
#pragma once

#include <optional>
#include <span>

namespace assay::analysis {

enum class PairMethod { modulation, difference_frequency };

struct Product {
    double ratio = 0.0;
    double noise = 0.0;  // what noise alone would read, one standard deviation
};

struct IntermodulationReading {
    double low_v = 0.0;  // RMS
    double high_v = 0.0;
    std::optional<Product> second{};  // nothing: a product lies outside of the band
    std::optional<Product> third{};
};

/// Frequencies by the record's clock, such that no two of the tones and their products fall together;
/// products above `highest_hz` or below 10 Hz are outside of the band.
IntermodulationReading read_pair(std::span<const double> volts, double rate_hz, double low_hz, double high_hz,
                                 PairMethod method, double highest_hz);

}  // namespace assay::analysis
