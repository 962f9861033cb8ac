// One steady step of a tone, read: volts, harmonics, noise, peaks.
//
// THD counts harmonics from the 2nd up to `bandwidth_hz` or half the rate, whichever is less, by nominal
// order, re the fundamental. THD+N is everything but the fundamental within 20 Hz .. bandwidth, re the total.
// Total volts are the root of the mean square within the same band, DC out.
#pragma once

#include <complex>
#include <span>
#include <vector>

namespace assay::analysis {

struct StepReading {
    double level_dbfs = 0.0;     // as played
    double at_s = 0.0;           // centre, seconds of the recording
    double frequency_hz = 0.0;   // by the recorder's clock
    double fundamental_v = 0.0;  // RMS
    double phase_rad = 0.0;      // of the fundamental, re a cosine at the record's centre
    double total_v = 0.0;        // RMS, 20 Hz .. bandwidth
    double noise_v = 0.0;        // RMS of what is not harmonic, 20 Hz .. bandwidth
    double hum_v = 0.0;      // the part of noise_v within 20 .. 420 Hz, less what broadband noise has there
    double thd = 0.0;        // ratio re the fundamental, less what noise alone would read
    double thd_noise = 0.0;  // ratio that noise alone adds (root of the sum of variances)
    double thd_doubt = 0.0;  // standard uncertainty of thd from noise
    double thd_plus_noise = 0.0;        // ratio re the total
    double thd_plus_noise_doubt = 0.0;  // its standard uncertainty: noise that is measured for a while only
    std::vector<std::complex<double>>
        harmonics{};               // [k-1] re the fundamental, phase at the fundamental's zero phase
    double peak_positive_v = 0.0;  // of the mean cycle, re its zero crossings
    double peak_negative_v = 0.0;  // below zero
    double drift_per_record = 0.0;
    double fundamental_doubt_v = 0.0;  // standard uncertainty from noise alone, RMS
    int harmonics_in_band = 0;         // above the first

    /// Phase-coherent unevenness inside the step, if any (see disturbance_within).
    bool disturbed = false;
    double disturbed_at_s = 0.0;
    bool level_jumped = false;  // what was uneven is the level
};

/// Fundamental over its doubt from which a single step tells a gain: 0.3 dB at worst.
inline constexpr double clean_snr = 30.0;

struct StepOptions {
    double frequency_guess_hz = 997.0;  // by the recorder's clock
    double nominal_hz = 997.0;
    double bandwidth_hz = 20000.0;
    double high_pass_hz = 0.0;  // first-order AC coupling of the input, undone for the peaks; 0 for none
};

StepReading read_step(std::span<const double> volts, double rate_hz, const StepOptions& options);

/// Number of harmonics from the fundamental up to the band's end or half the rate.
int harmonics_within(double nominal_hz, double bandwidth_hz, double rate_hz);

}  // namespace assay::analysis
