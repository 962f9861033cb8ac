#include "cli/commands/calibrate/loopback_findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "analysis/signal/median.h"
#include "analysis/units.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double follows_db = 0.3;
constexpr int points_per_octave = 24;
constexpr double fallen_db = -40.0;  // no card's own roll-off is as steep as a converter of rates
constexpr std::array common_rates_hz{32000.0, 44100.0, 48000.0, 88200.0, 96000.0};

}  // namespace

Result<void> judge_levels(const std::vector<LoopbackLevel>& levels, const std::string& input) {
    if (levels.size() < 3) return {};
    std::vector<double> gains;
    gains.reserve(levels.size());
    for (const LoopbackLevel& level : levels) gains.push_back(level.heard_dbfs - level.played_dbfs);
    const double middle_db = analysis::median(gains);
    for (const LoopbackLevel& level : levels) {
        const double off_db = level.heard_dbfs - level.played_dbfs - middle_db;
        if (std::abs(off_db) <= follows_db + 4.0 * level.doubt_db) continue;
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("input \"{}\" does not follow the level: the tone of {:.0f} dBFS reads {:+.1f} dB "
                        "against the others",
                        input, level.played_dbfs, off_db),
            "switch off automatic gain, noise suppression, limiter and \"enhancements\" in the mixer, for "
            "playback too; name the card itself and not a mixer");
    }
    return {};
}

CardResponse card_response_of(const ResponseReading& reading, const capture::Input& input, double rate_hz,
                              const std::string& date) {
    const ChannelResponse& channel = reading.loads.front();
    CardResponse card;
    card.input = input.name;
    card.rate_hz = rate_hz;
    card.date = date;
    card.frequency_hz = analysis::log_frequencies(reading.start_hz, reading.stop_hz, points_per_octave);
    card.standard_uncertainty_db.emplace();
    const double at_1khz = std::abs(channel.sweep.at(reference_hz, 1));
    for (const double frequency_hz : card.frequency_hz) {
        const std::complex<double> value = channel.sweep.at(frequency_hz, 1) / at_1khz;
        // 60 dB down is as much as the file can hold, and as good as nothing.
        card.magnitude_db.push_back(std::max(analysis::floored_decibels(std::abs(value), 1e-9), -59.0));
        card.phase_deg.push_back(std::arg(value) * analysis::degrees);
        card.standard_uncertainty_db->push_back(
            db_per_relative *
            std::hypot(channel.relative_noise_at(frequency_hz), channel.relative_noise_at(reference_hz)));
    }
    return card;
}

Result<void> judge_band(const CardResponse& card) {
    double last_hz = 0.0;  // up to which anything comes through
    for (std::size_t k = 0; k < card.frequency_hz.size(); ++k) {
        if (card.magnitude_db[k] > fallen_db) last_hz = card.frequency_hz[k];
    }
    for (const double lower_hz : common_rates_hz) {
        const double edge_hz = 0.5 * lower_hz;
        if (edge_hz < last_hz) continue;
        if (lower_hz >= card.rate_hz || 1.1 * edge_hz > card.frequency_hz.back() || last_hz < 0.85 * edge_hz)
            return {};
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("the band ends at {:.4g} kHz: something runs at {:.6g} Hz and not at {:.6g} Hz, and "
                        "changes the rate unasked",
                        1e-3 * last_hz, lower_hz, card.rate_hz),
            fmt::format("name the card itself and not a plug or mixer, or set sample_rate_hz = {:.6g}",
                        lower_hz));
    }
    return {};
}

}  // namespace assay::cli
