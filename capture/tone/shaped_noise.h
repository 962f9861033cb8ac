// Music-like noise: a random signal with the spectrum and the peaks of a programme, periodic, so that a file
// of whole periods can be played in a loop and every stretch of one period holds the same energy.
//
// Spectrum: as much power in every octave (pink), less a Butterworth high-pass of second order at 45 Hz and a
// low-pass of first order at 4 kHz, nothing below 10 Hz and above 20 kHz or 0.45 of the rate. Made in the
// manner of the programme-simulating noise of IEC 60268-1, whose text was not seen: the corners are our own.
// Up to about 13 dB of crest factor the peaks are clipped to it, as that noise is; above, the level swings at
// random below 2 Hz, as music's does.
#pragma once

#include <memory>
#include <vector>

namespace assay::capture {

/// Deterministic: the same settings give the same noise on every machine.
struct ShapedNoise {
    double period_s = 10.0;         // with the rate a power of two of frames; otherwise rounded up to one
    double crest_factor_db = 12.0;  // highest sample over RMS of a period, 4 to 20
};

/// Period of about 11 s that the rate divides into a power of two of frames.
double noise_period_s(double rate_hz);

/// Values by frame, of the highest one as 1. Cheap to make once the period stands.
struct ShapedNoiseValues {
    ShapedNoiseValues(const ShapedNoise& noise, double rate_hz);
    /// Between frames by a straight line.
    double at(double frame) const;

  private:
    std::shared_ptr<const std::vector<float>> period_{};
};

}  // namespace assay::capture
