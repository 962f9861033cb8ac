// Noise as ITU-R BS.468-4 reads it: through its network, by a quasi-peak detector, so that clicks count for
// what they annoy. A steady sine of 1 kHz reads its RMS volts.
//
// The Recommendation gives no circuit but what bursts of 5 kHz must read: single ones of 1 to 200 ms, and 5
// ms at 2, 10 and 100 a second. Here two peak rectifiers follow each other, charged and discharged through
// constants that were fitted to those readings; tests/unit/analysis/quasi_peak_test.cpp holds them point by
// point. Samples are brought to 176 kHz or more first, where peaks cannot hide between them.
//
// Range: rates from 32 kHz; the first second is settling and tells nothing.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace assay::analysis {

struct QuasiPeakReading {
    double typical_v = 0.0;  // mean of the reading
    double doubt_v = 0.0;    // of that mean, from its own wandering
    double highest_v = 0.0;
};

/// Two rectifiers in tandem, sample by sample; volts in, the meter's deflection out (not yet calibrated).
class PeakRectifiers {
  public:
    explicit PeakRectifiers(double rate_hz);
    double next(double volts);

  private:
    double charge_[2];
    double discharge_[2];
    double held_[2] = {0.0, 0.0};
};

class QuasiPeak {
  public:
    explicit QuasiPeak(double rate_hz);
    /// The next volts of the record, in pieces of any length.
    void feed(std::span<const double> volts);
    QuasiPeakReading finish() const;

  private:
    void take_block();

    double rate_hz_;
    std::size_t block_;  // samples to a transform; the middle half of them is read
    std::size_t times_;  // oversampling
    double per_volt_;    // deflection of a steady 1 kHz sine of 1 V RMS
    std::vector<std::complex<double>> network_{};
    std::vector<double> waiting_{};
    PeakRectifiers rectifiers_;
    std::size_t read_ = 0;  // samples of the higher rate
    double highest_ = 0.0;
    double sum_ = 0.0;  // of the piece that is being read
    std::size_t in_piece_ = 0;
    std::vector<double> pieces_{};  // mean deflection of each half second
};

}  // namespace assay::analysis
