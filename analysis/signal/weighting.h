// Weighting of noise by frequency, relative to 1 kHz.
#pragma once

#include <complex>

namespace assay::analysis {

/// A-weighting, dB. IEC 61672-1: poles at 20.6, 107.7, 737.9 and 12194 Hz from the construction of its annex
/// E (f_L = 10^1.5 Hz, f_H = 10^3.9 Hz, f_A = 10^2.45 Hz, D^2 = 1/2), zero at 1 kHz.
double a_weighting_db(double frequency_hz);

/// Weighting network of Rec. ITU-R BS.468-4, dB: the usual rational form of it, zero at 1 kHz. Its table is
/// met within 0.05 dB. The Recommendation's meter has a quasi-peak detector; the network alone is not that
/// meter.
double itu_468_weighting_db(double frequency_hz);
/// The same network with its phase, 1 at 1 kHz; dB of its magnitude is the weighting.
std::complex<double> itu_468_response(double frequency_hz);

}  // namespace assay::analysis
