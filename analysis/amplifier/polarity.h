// Does a channel turn the wave upside down? From a complex response whose delay is not known.
//
// A delay bends the phase in proportion to the frequency and is zero at zero; a turned polarity is half a
// turn at all frequencies. So the phase is fitted by a line, weighted by the power that comes through, and
// what the line has left at 0 Hz is near 0 or near half a turn. (A delay and a constant phase: A. V.
// Oppenheim, R. W. Schafer, Discrete-Time Signal Processing, "generalized linear phase".)
//
// Range: delays below 40 ms either way; a band of two octaves or more. A unit that turns the phase by itself
// (an all-pass, a steep filter in the middle of its band) leaves something between, and is not told.
#pragma once

#include <complex>
#include <functional>

namespace assay::analysis {

struct PolarityReading {
    bool told = false;
    bool inverted = false;    // where told
    double offset_deg = 0.0;  // of the phase at 0 Hz, -180 .. 180
    double delay_s = 0.0;
    double left_deg = 0.0;  // of the phase by the line, weighted RMS
};

PolarityReading read_polarity(const std::function<std::complex<double>(double frequency_hz)>& response,
                              double from_hz, double to_hz);

}  // namespace assay::analysis
