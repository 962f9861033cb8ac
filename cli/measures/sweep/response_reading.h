// The recording of a response tone, read: what each load's volts did to the sweep. Also what output-impedance
// reads of the tests that it names.
#pragma once

#include <complex>
#include <memory>
#include <optional>
#include <vector>

#include "analysis/signal/sweep_response.h"
#include "cli/measures/recording/placed_take.h"

namespace assay::cli {

struct ChannelResponse {
    analysis::SweepResponse sweep{};  // volts for the tone's sample value 1.0
    double high_pass_hz = 0.0;        // of the input, undone; 0 for none
    double plus_share = 1.0;          // see load_voltage
    double start_hz = 10.0;           // of the band that is asked for
    /// Where it is read between two sweeps: the louder one, and how much of it counts; the logarithm goes
    /// straight from the fainter to the louder.
    std::shared_ptr<const ChannelResponse> louder{};
    double louder_part = 0.0;

    std::complex<double> at(double frequency_hz) const;
    /// The same with the input's high-pass left in.
    std::complex<double> as_recorded(double frequency_hz) const;
    /// By how much the louder sweep's gain is above, dB; 0 where there is one sweep.
    double louder_gain_db(double frequency_hz) const;
    /// Harmonic `order` re the linear response, of a tone at this frequency; nothing beyond the band.
    std::optional<double> harmonic_at(double frequency_hz, int order) const;
    /// What noise alone would read there.
    double harmonic_noise_at(double frequency_hz, int order) const;
    /// Standard deviation of the linear response relative to itself, real and imaginary part each.
    double relative_noise_at(double frequency_hz) const;
    /// Standard uncertainty of the shape, dB, from the windows in time and the ends of the sweep, as found
    /// without noise: 0.0075 dB at 10 Hz, falling steeply with the frequency; more within a fifth of where
    /// the sweep starts.
    double method_db(double frequency_hz) const;
};

/// A tone of sweeps has so many for each: steady, sweep, steady.
inline constexpr std::size_t steps_of_sweep = 3;

struct ResponseReading {
    double start_s = 0.0;
    double clock_ppm = 0.0;
    double start_hz = 0.0;  // where the curve goes from and to
    double stop_hz = 0.0;
    double level_dbfs = 0.0;
    std::vector<ChannelResponse> loads{};  // in the order of the test's loads
    std::optional<ChannelResponse> reference{};
    std::vector<double> pilot_v{};       // RMS of the first steady tone, each load
    std::vector<double> level_change{};  // of the second steady tone re the first, each load, ratio less one
    std::vector<double> plus_peak_dbfs{};  // sample peak of the plus input within the sweep
};

/// Faults are what makes a recording worthless.
[[nodiscard]] capture::Result<ResponseReading> read_response(const Setup& setup, const Take& take);
/// One of the sweeps of a tone that has several, counted from 0.
[[nodiscard]] capture::Result<ResponseReading> read_response(const Setup& setup, const Take& take,
                                                             const PlacedTake& placed, std::size_t sweep);
/// Volts RMS of the steady tone before that sweep, at a load; nothing where its capture cannot be trusted.
std::optional<double> steady_v(const Setup& setup, const Take& take, const PlacedTake& placed,
                               std::size_t sweep, const capture::Load& load);

/// The field, or its default: 0.45 of the tone's rate, at most 40 kHz.
double response_stop_hz(const Setup& setup);

}  // namespace assay::cli
