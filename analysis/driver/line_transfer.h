// The complex ratio of two voltages of one recording at the lines of a multitone, with its variance from the
// data.
//
// Both channels are windowed and transformed, one after the other: a long record takes much memory. Around
// each line the least-squares ratio of the bins of its main lobe is h = sum conj(G) D / sum |G|^2; what is
// left, R = D - h G, there and in the gap to the next line gives the variance (the residual takes out
// whatever reaches both inputs through the jig: the generator's own noise is no doubt). A window's main lobe
// is wide enough that the clock ratio need not be known better than 1e-5. A line whose residual stands out
// from its neighbours (hum, whistle, digital noise) is marked.
//
// Range: lines at least 4 / record length apart; S/N of the generator's lines above about 20 dB each.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "analysis/signal/signal.h"

namespace assay::analysis {

enum class LineState {
    sound,
    disturbed,  // something else is at this frequency
    weak,       // not above the noise, or beyond what the recorder can hold
};

struct TransferLine {
    double frequency_hz = 0.0;  // by the tone's clock
    std::complex<double> ratio{};
    double variance = 0.0;     // of the ratio's real part and of its imaginary part, each
    double generator_v = 0.0;  // RMS of this line
    double driver_v = 0.0;     // RMS, at the second channel
    LineState state = LineState::sound;
};

struct LineTransfer {
    std::vector<TransferLine> lines{};  // as given, all of them
    double generator_rms_v = 0.0;       // of the whole record, without its mean
    double generator_peak_v = 0.0;
    double driver_rms_v = 0.0;
    double noise_rms_v = 0.0;  // of the residual, from the lowest to the highest line

    std::size_t count(LineState state) const;
};

/// `generator` and `driver` equally long and of one rate, the tone steady in both; lines by rising frequency;
/// `clock_ratio` as in Placement.
LineTransfer transfer_of_lines(const Signal& generator, const Signal& driver,
                               std::span<const double> lines_hz, double clock_ratio);

}  // namespace assay::analysis
