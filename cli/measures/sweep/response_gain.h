// A load's volts against what its gain is counted from: the reference input, or the output's volts with what
// the card itself does divided out where it is known. Delay, noise and doubt of that ratio.
#pragma once

#include <complex>
#include <string>

#include "cli/measures/sweep/card_response.h"
#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

struct ResponseGain {
    const ChannelResponse* load = nullptr;
    const ChannelResponse* reference = nullptr;  // none: against `divisor`, and the card if it is known
    double divisor = 1.0;                        // output volts for sample value 1.0
    const LoadCardResponse* card = nullptr;
    std::string loopback_source{};  // of doubt: the loopback that is divided out

    std::complex<double> at(double frequency_hz) const;
    /// -d phase / d omega, over a twelfth of an octave.
    double delay_s_at(double frequency_hz) const;
    double delay_noise_s_at(double frequency_hz) const;
    /// Standard uncertainty of what the card's loopback takes out, dB re 1 kHz.
    double card_doubt_db(double frequency_hz) const;
    /// Standard uncertainty of a gain that is read between two sweeps, dB: it may have stood as at the
    /// fainter one all the way up to the power.
    double between_db(double frequency_hz) const;
    /// The same, of the gain re that at 1 kHz.
    double bent_db(double frequency_hz) const { return between_db(frequency_hz) - between_db(reference_hz); }
    /// Of the magnitude and, in radians, of the phase; relative.
    double noise_at(double frequency_hz) const;
};

}  // namespace assay::cli
