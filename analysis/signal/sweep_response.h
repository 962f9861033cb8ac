// What a unit did to an exponential sweep: its linear response and its harmonics, each against frequency.
//
// The spectrum of the record is divided by that of the sweep as it was played, sampled at the record's own
// instants, so that neither the sweep's ends nor its fades nor a fractional start leave a trace. Back in time
// the linear response stands at 0 and that of harmonic n at -growth ln n (A. Farina, AES 108th Convention,
// 2000; synchronised form: A. Novak, P. Lotton, L. Simon, J. Audio Eng. Soc. 63(10), 786-798, 2015), where
// windows take them apart.
//
// Range: responses that ring out within about 0.5 s below 150 Hz, 0.15 s up to 1500 Hz, 0.04 s above.
// Harmonics are seen through some forty cycles: resolution 1/30 octave.
#pragma once

#include <complex>
#include <functional>
#include <map>
#include <memory>
#include <span>
#include <utility>
#include <vector>

namespace assay::analysis {

struct SweepPlan {
    std::function<double(double)> at{};  // the sweep as played, by seconds from its start
    double duration_s = 0.0;
    double growth_s = 1.4;  // time in which the frequency rises by the factor e
    double from_hz = 5.0;   // at the sweep's ends
    double to_hz = 44000.0;
    double start_hz = 10.0;  // band that is asked for, inside them
    double stop_hz = 40000.0;
};

struct WindowedPiece;  // sweep_response.cpp

struct SweepResponse {
    /// Output of harmonic `order` over input amplitude, at the frequency of the output. 1 is the linear
    /// response. Phase is re the sweep's own place in time.
    std::complex<double> at(double output_hz, int order) const;
    /// Standard deviation that noise gives to the real part, and to the imaginary part, of `at`.
    double noise_at(double output_hz, int order) const;

    /// Filled by `respond`.
    std::vector<double> impulse{};  // time 0 first, negative times at the end
    double rate_hz = 0.0;           // by the clock of the tone
    /// The same below half of its own rate, tapered towards it: low frequencies have long windows.
    std::vector<double> low_impulse{};
    double low_rate_hz = 0.0;  // 0: there is none
    double growth_s = 0.0;
    double to_hz = 0.0;  // beyond it nothing is known
    std::vector<double> noise_hz{};
    std::vector<double> noise_density{};  // of at(), times the root of the window's energy, by frequency

    /// What `at` has worked out before: each harmonic, each doubt asks for the linear response again.
    mutable std::map<std::pair<double, int>, std::complex<double>> known{};
    /// The windowed piece of the impulse that `at` went through last: neighbours in frequency share theirs.
    mutable std::shared_ptr<const WindowedPiece> last_piece{};
};

/// `record` begins `start_s` before the sweep; the rate is by the tone's clock (recorder's rate times clock
/// ratio). The record should go on for the decay after the sweep.
SweepResponse respond(std::span<const double> record, double rate_hz, double start_s, const SweepPlan& plan);

/// Frequencies with so many to an octave, 1000 Hz among them, and both ends.
std::vector<double> log_frequencies(double start_hz, double stop_hz, int per_octave);

}  // namespace assay::analysis
