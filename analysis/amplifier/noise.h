// The noise of a unit whose input is silent: in the band, weighted, and its hum.
//
// Averaged periodogram (P. D. Welch, IEEE Trans. Audio Electroacoust. 15(2), 1967): stretches of two seconds,
// Hann window, half overlapping; weighting acts on the spectra, where no filter's warping
// exists. Range: five stretches at least; frequencies to half the rate.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/signal/line_track.h"

namespace assay::analysis {

/// RMS volts with what the stretches' own scatter says of their mean.
struct NoiseValue {
    double volts = 0.0;
    double doubt_v = 0.0;
};

struct NoiseLine {
    double frequency_hz = 0.0;
    double volts = 0.0;
};

struct NoiseReading {
    NoiseValue band{};                   // 20 Hz .. 20 kHz
    NoiseValue a_weighted{};             // the same band
    NoiseValue itu_468{};                // the network of ITU-R 468, RMS
    NoiseValue itu_468_quasi_peak{};     // the same by its quasi-peak detector
    double itu_468_highest_v = 0.0;      // highest reading of that detector: clicks and crackling
    NoiseValue hum{};                    // lines at whole multiples of the mains, broadband noise taken off
    std::optional<double> mains_hz{};    // nothing: no line stands out at multiples of 50 or 60 Hz
    double mains_doubt_hz = 0.0;         // standard, by the stretches' scatter
    double hum_detectable_v = 0.0;       // below that no hum would be seen
    std::vector<NoiseLine> hum_lines{};  // those that stand out
    std::optional<NoiseLine> whistle{};  // strongest other line, if one stands out
    std::optional<MovingLine> whine{};   // strongest line whose frequency moves
    std::vector<double> stretch_v{};     // band volts of each stretch
    double stretch_s = 0.0;              // from one to the next
};

/// `high_pass_hz`: first-order coupling of the input, undone; 0 for none.
NoiseReading read_noise(std::span<const double> volts, double rate_hz, double high_pass_hz);

}  // namespace assay::analysis
