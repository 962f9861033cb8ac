// What the sound card itself does to the band, from a loopback: what an input records over what the player
// was told to play. A response without a reference input is divided by it.
#pragma once

#include <complex>
#include <optional>
#include <string>
#include <vector>

#include "cli/measures/measure.h"

namespace assay::cli {

/// What the magnitude of a response is told re.
inline constexpr double reference_hz = 1000.0;

struct CardResponse {
    std::string input{};            // name of the input that heard the loopback
    double rate_hz = 0.0;           // sample rate of the card when it was taken
    std::string date{};             // "2026-11-25"; empty where it is not known
    std::string playback_device{};  // "host API: name" of then; empty where it is not known
    std::string record_device{};
    std::optional<double> gain_db{};  // input samples re output samples at 1 kHz, as volume and gain stood
    /// Corner of the input's high-pass that was undone when the curve was taken (its high_pass_hz); none: the
    /// curve holds the input's coupling as the samples show it.
    std::optional<double> high_pass_undone_hz{};
    std::vector<double> frequency_hz{};  // rising, at least two
    std::vector<double> magnitude_db{};
    /// Standard uncertainty of magnitude_db, one a frequency; empty: not stated, and taken as exact.
    std::optional<std::vector<double>> standard_uncertainty_db{};
    std::vector<double> phase_deg{};  // less a delay, or not: a delay goes out again with the curve's own

    /// As the samples show it, with the high-pass back in it, re its magnitude at 1 kHz. Straight lines of dB
    /// and of unwrapped phase over the logarithm of the frequency; the end points are held beyond the ends.
    std::complex<double> at(double at_hz) const;
    /// Whether it goes from one frequency to the other, but for a twentieth at each end.
    bool covers(double from_hz, double to_hz) const;
    /// Standard uncertainty of the magnitude at a frequency, dB; 0 where none is stated.
    double doubt_db(double at_hz) const;
};

/// A loopback holds for a year (common practice, no source); older ones are used, and their whole correction
/// is doubted.
inline constexpr int loopback_holds_days = 365;

/// Why the card is no longer what it was when the loopback was taken: another device, another rate, another
/// volume or gain (as far as file and bench state them). Empty: nothing is known against it. `load`: whose
/// outputs the gain is counted from; null: not looked at.
std::string outdated_by(const Setup& setup, const capture::Input& input, const CardResponse& card,
                        double recorded_rate_hz, const capture::Load* load);
/// Days from the loopback to the session; none where either day is not known.
std::optional<int> age_days(const Setup& setup, const CardResponse& card);

/// Of the inputs at a load's ends: the card's response to divide by, or in plain words why there is none.
struct LoadCardResponse {
    std::optional<CardResponse> plus{};
    std::optional<CardResponse> minus{};  // where the load has that end
    std::string file{};                   // as the bench names it
    std::string why_not{};                // empty where the curve may be divided by it
    std::string mend{};
    std::optional<int> days_old{};  // where that is more than it holds for

    /// Standard uncertainty of what is divided out, dB: as the files state it, and of an old one the whole
    /// correction, as limits (JCGM 100, 4.3.7).
    double doubt_db(double frequency_hz, double plus_share) const;
    bool states_doubt() const;
    bool usable() const { return plus.has_value() && why_not.empty(); }
    /// What the difference of both ends saw; `plus_share` as in load_voltage.
    std::complex<double> at(double frequency_hz, double plus_share) const;
};

/// Faults: a file that is named and cannot be read.
[[nodiscard]] capture::Result<LoadCardResponse> card_response_for(const Setup& setup,
                                                                  const capture::Load& load,
                                                                  double recorded_rate_hz, double from_hz,
                                                                  double to_hz);

}  // namespace assay::cli
