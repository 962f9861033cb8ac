// Matched-filter search of a waveform in a band-limited recording.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "analysis/signal/alignment.h"

namespace assay::analysis {

/// The analytic signal (positive frequencies only) of a band, at the rate of its source.
struct BandSignal {
    std::vector<std::complex<float>> samples{};
    double rate_hz = 0.0;
    double low_hz = 0.0;
    double high_hz = 0.0;

    double duration_s() const { return static_cast<double>(samples.size()) / rate_hz; }
    double peak() const;
};

BandSignal band_limit(const std::vector<float>& signal, double rate_hz, double low_hz, double high_hz);

struct Match {
    double at_s = 0.0;      // where the waveform starts
    double likeness = 0.0;  // |normalised correlation|, 0..1
    double level = 0.0;     // RMS of the band signal under the waveform
};

/// A waveform as a band sees it. One that is looked for often is made once.
struct BandShape {
    std::vector<std::complex<double>> samples{};
    double energy = 0.0;
};

BandShape shape_in(const BandSignal& band, const Waveform& wave);

/// Best place of the waveform's start within [from_s, to_s]; sub-sample by a parabola.
Match best_match(const BandSignal& band, const BandShape& shape, double from_s, double to_s);
Match best_match(const BandSignal& band, const Waveform& wave, double from_s, double to_s);

}  // namespace assay::analysis
