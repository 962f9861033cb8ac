#include "cli/measures/sweep/response_channels.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "analysis/amplifier/polarity.h"
#include "cli/measures/channels.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/sweep/card_response.h"

namespace assay::cli {

namespace {

/// A little less than the curve's end: there the polarity's steps of frequency still need a neighbour.
double polarity_to_hz(double stop_hz) {
    return 0.98 * stop_hz;
}

}  // namespace

analysis::Absent band_too_narrow(double from_hz, double to_hz) {
    return {"band-too-narrow", fmt::format("the curve goes from {:.5g} to {:.5g} Hz", from_hz, to_hz),
            "let start_hz and stop_hz, and both sample rates, hold 20 Hz to 20 kHz"};
}

std::string polarity_words(const ResponseReading& reading,
                           const std::function<std::complex<double>(double)>& gain) {
    const auto polarity = analysis::read_polarity(gain, reading.start_hz, polarity_to_hz(reading.stop_hz));
    if (!polarity.told) return "not told: the unit turns the phase by more than a delay does";
    return polarity.inverted ? "inverted" : "upright";
}

void add_swept_channels(const Setup& setup, const ResponseReading& reading, TestResult& result) {
    if (reading.loads.size() < 2) return;
    const auto volts_at = [&](double frequency_hz) {
        std::vector<ChannelLevel> channels;
        for (std::size_t l = 0; l < reading.loads.size(); ++l) {
            const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
            const ChannelResponse& channel = reading.loads[l];
            const double to_scale =
                scale_correction(setup.bench->inputs[load.plus], std::numeric_limits<double>::infinity());
            channels.push_back({&load, std::abs(channel.at(frequency_hz)) * to_scale,
                                channel.relative_noise_at(frequency_hz), channel.plus_share});
        }
        return channels;
    };
    add_balance(setup, "channel_balance_1khz_db", volts_at(reference_hz), reference_hz, result);
    const char* const whole_band = "channel_balance_20hz_20khz_db";
    if (reading.start_hz > audio_from_hz || reading.stop_hz < audio_to_hz) {
        result.whole.add_absent(whole_band, band_too_narrow(reading.start_hz, reading.stop_hz));
    } else {
        double worst = 0.0;
        double worst_hz = reference_hz;
        for (const double frequency_hz :
             analysis::log_frequencies(audio_from_hz, audio_to_hz, points_per_octave)) {
            double loudest = 0.0;
            double faintest = std::numeric_limits<double>::infinity();
            for (const ChannelLevel& channel : volts_at(frequency_hz)) {
                const double gain = channel.volts / input_re_first(setup, *channel.load).value_or(1.0);
                loudest = std::max(loudest, gain);
                faintest = std::min(faintest, gain);
            }
            if (loudest / faintest <= worst) continue;
            worst = loudest / faintest;
            worst_hz = frequency_hz;
        }
        result.conditions.emplace_back("channel_balance_worst_hz", worst_hz);
        add_balance(setup, whole_band, volts_at(worst_hz), worst_hz, result);
    }
    std::vector<Turning> turnings;
    for (std::size_t l = 1; l < reading.loads.size(); ++l) {
        const auto polarity = analysis::read_polarity(
            [&](double hz) { return reading.loads[l].at(hz) / reading.loads[0].at(hz); }, reading.start_hz,
            polarity_to_hz(reading.stop_hz));
        turnings.push_back(!polarity.told      ? Turning::not_told
                           : polarity.inverted ? Turning::opposite
                                               : Turning::alike);
    }
    add_turning(setup, turnings, result);
}

}  // namespace assay::cli
