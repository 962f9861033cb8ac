// A line in noise whose frequency moves: the whine of an alternator that follows the engine, of a converter
// that follows its load. An averaged spectrum smears it until it is no line at all; short spectra, one after
// the other, still show it, and the best path through their peaks is followed (dynamic programming: A. J.
// Viterbi, IEEE Trans. Inf. Theory 13(2), 1967).
//
// Range: 100 Hz to 20 kHz, up to about a third of an octave a second; it has to be there for at least half of
// the time and stand 14 dB out of a spectrum of 12 Hz resolution. Lines that stand still are left to others.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace assay::analysis {

struct MovingLine {
    double lowest_hz = 0.0;
    double highest_hz = 0.0;
    double volts = 0.0;  // RMS while it is heard
    double share = 0.0;  // of the time that it is heard
};

class LineTracker {
  public:
    explicit LineTracker(double rate_hz);
    /// The next volts of the record, in pieces of any length.
    void feed(std::span<const double> volts);
    /// The strongest line that moves, if there is one.
    std::optional<MovingLine> finish() const;

    struct Peak {
        double frequency_hz = 0.0;
        double power = 0.0;       // mean square, less the noise around it
        double stands_out = 0.0;  // of the highest bin over the noise, as a ratio of powers
    };

  private:
    void take_frame();

    double rate_hz_;
    std::size_t frame_;
    std::vector<double> waiting_{};
    std::vector<std::vector<Peak>> frames_{};
};

}  // namespace assay::analysis
