#include "cli/commands/live/rate_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "analysis/signal/harmonic_fit.h"
#include "analysis/units.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::InputRole;
using capture::Result;

constexpr std::array lower_rates_hz{32000.0, 44100.0, 48000.0};
constexpr double above_44_hz = 22752.0;  // at 48 kHz: 0.474 of it, where cards have lost a few decibels
constexpr double above_48_hz = 26000.0;
constexpr double lost_db = -40.0;  // as in a loopback: no card's own roll-off is as steep
constexpr double pause_s = 0.02;
constexpr double tone_s = 0.5;
constexpr double into_tone_s = 0.05;
constexpr double line_window_s = 0.2;
constexpr double clock_share = 1e-3;  // two clocks are further apart than this on no bench

/// Peak and its standard uncertainty of a sine near a frequency.
struct Line {
    double peak = 0.0;
    double doubt = 0.0;
};

Line line_near(const std::vector<double>& window, double rate_hz, double frequency_hz) {
    const double at_hz = analysis::strongest_line_hz(window, rate_hz, frequency_hz * (1.0 - clock_share),
                                                     frequency_hz * (1.0 + clock_share));
    const auto fit = analysis::fit_harmonics(window, rate_hz, at_hz, {.harmonics = 1, .iterations = 0});
    const double doubt = fit.sigma * std::sqrt(2.0 / static_cast<double>(window.size()));
    return {std::isfinite(fit.amplitude()) ? fit.amplitude() : 0.0, doubt};
}

std::string words_of(const HeardBand& heard, double tone_hz) {
    const std::string tone = fmt::format("a tone of {:.4g} kHz", 1e-3 * tone_hz);
    if (heard.mirror_db > lost_db)
        return fmt::format("{} comes back as one of {:.4g} kHz, mirrored by a rate of {:.6g} Hz", tone,
                           1e-3 * std::abs(heard.mirror_of_hz - tone_hz), heard.mirror_of_hz);
    return fmt::format("{} does not come through ({:.0f} dB)", tone, heard.tone_db);
}

}  // namespace

bool HeardBand::changed() const {
    return told && (tone_db < lost_db || mirror_db > lost_db);
}

std::optional<double> rate_tone_hz(double rate_hz) {
    if (rate_hz > 2.2 * above_48_hz) return above_48_hz;
    if (rate_hz >= 48000.0) return above_44_hz;
    return std::nullopt;
}

void add_rate_tone(capture::Tone& tone, double frequency_hz, double level_dbfs) {
    const auto frames_of = [&](double seconds) {
        return static_cast<std::int64_t>(std::llround(seconds * tone.rate_hz));
    };
    const capture::Segment& last = tone.segments.back();
    const std::int64_t first = last.first_frame + last.frames + frames_of(pause_s);
    const std::int64_t frames = frames_of(tone_s);
    constexpr double fade_s = 0.01;
    tone.segments.push_back({first, frames, capture::SteadySine{frequency_hz, 0.0}, level_dbfs,
                             frames_of(fade_s), capture::SegmentRole::step});
    tone.frames += frames + frames_of(pause_s);
}

Result<std::vector<HeardBand>> listen_band(const capture::Bench& bench, const capture::Recording& recording,
                                           const capture::Tone& tone, double frequency_hz) {
    const double rate = recording.rate_hz;
    const capture::Segment& upper = tone.segments.back();
    const double upper_hz = std::get<capture::SteadySine>(upper.law).frequency_hz;
    // The step is the segment before the mark that ends the staircase.
    const capture::Segment& step = tone.segments[tone.segments.size() - 3];
    const auto channels = read_inputs(bench, recording);
    if (!channels) return tl::unexpected<capture::Fault>(channels.error());
    std::vector<HeardBand> heard(bench.inputs.size());
    const auto length = static_cast<std::size_t>(line_window_s * rate);
    const std::size_t lower_at = loudest_window(*channels, rate, frequency_hz, length);
    // The lower window lies anywhere in its step, which leaves the upper one room of 0.2 s.
    const std::size_t upper_at = lower_at + static_cast<std::size_t>(upper.first_frame - step.first_frame) +
                                 static_cast<std::size_t>(into_tone_s * rate);
    if (upper_at + length > channels->front().size()) return heard;
    for (std::size_t i = 0; i < heard.size(); ++i) {
        const auto window = [&](std::size_t at) {
            const auto from = (*channels)[i].begin() + static_cast<std::ptrdiff_t>(at);
            return std::vector<double>(from, from + static_cast<std::ptrdiff_t>(length));
        };
        const Line lower = line_near(window(lower_at), rate, frequency_hz);
        const std::vector<double> above = window(upper_at);
        const Line line = line_near(above, rate, upper_hz);
        HeardBand& band = heard[i];
        band.tone_db = analysis::floored_decibels(line.peak / std::max(lower.peak, 1e-12));
        band.mirror_db = -200.0;
        // What an absent tone leaves to be found is noise: it must lie below the mark for a verdict.
        band.told = lower.peak > 0.0 && analysis::floored_decibels(8.0 * line.doubt / lower.peak) < lost_db;
        for (const double lower_rate : lower_rates_hz) {
            if (lower_rate >= rate || upper_hz <= 0.5 * lower_rate || upper_hz >= lower_rate) continue;
            const Line mirror = line_near(above, rate, lower_rate - upper_hz);
            const double mirror_db = analysis::floored_decibels(mirror.peak / std::max(lower.peak, 1e-12));
            if (mirror.peak < 8.0 * mirror.doubt || mirror_db <= band.mirror_db) continue;
            band.mirror_db = mirror_db;
            band.mirror_of_hz = lower_rate;
        }
        // A mirror stands out by itself, and is no noise for the other verdict.
        band.told = band.told || (lower.peak > 0.0 && band.mirror_db > lost_db);
    }
    return heard;
}

Result<std::optional<TrustRemark>> judge_rate(const Setup& setup, const HeardOutput& heard,
                                              const std::vector<HeardBand>& band) {
    const capture::Bench& bench = *setup.bench;
    const double rate = bench.sample_rate_hz;
    const auto tone_hz = rate_tone_hz(rate);
    if (!tone_hz) return std::optional<TrustRemark>{};
    const std::string name_the_card =
        "name the card itself and not a plug or mixer, or set sample_rate_hz to the rate it runs at";
    bool proven = false;  // by an input that hears the output itself
    for (std::size_t i = 0; i < band.size(); ++i) {
        if (bench.inputs[i].role != InputRole::reference || !heard.inputs[i].present || !band[i].told)
            continue;
        // Another output's reference hears only crosstalk, which may end anywhere.
        const bool loudest =
            std::none_of(heard.inputs.begin(), heard.inputs.end(), [&](const HeardInput& other) {
                return bench.inputs[static_cast<std::size_t>(&other - heard.inputs.data())].role ==
                           InputRole::reference &&
                       other.present && other.volts_rms > heard.inputs[i].volts_rms;
            });
        if (!loudest) continue;
        if (band[i].changed())
            return capture::fail(
                FaultKind::untrusted_capture,
                fmt::format("wiring check: at input \"{}\" {}: the rate of {:.6g} Hz is changed "
                            "unasked between program and card",
                            bench.inputs[i].name, words_of(band[i], *tone_hz), rate),
                name_the_card);
        proven = true;
    }
    if (proven) return std::optional<TrustRemark>{};
    std::optional<TrustRemark> remark;
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = bench.loads[index];
        const bool driven =
            std::find(load.driven_by.begin(), load.driven_by.end(), heard.output) != load.driven_by.end();
        if (!driven || !heard.inputs[load.plus].present || !band[load.plus].told) continue;
        if (!band[load.plus].changed()) return std::optional<TrustRemark>{};
        remark = TrustRemark{
            rate_in_doubt,
            fmt::format("at {} {}: either the unit ends its band below, or the rate of {:.6g} Hz is changed "
                        "unasked between program and card",
                        load.in_words(), words_of(band[load.plus], *tone_hz), rate),
            "`assay calibrate loopback` tells which; if it is the rate, " + name_the_card, false};
    }
    return remark;
}

}  // namespace assay::cli
