#include "analysis/signal/alignment.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdio>
#include <optional>
#include <string>

#include "analysis/signal/band_search.h"
#include "analysis/signal/mark_tracking.h"

namespace assay::analysis {

namespace {

constexpr double least_likeness = 0.6;  // normalised correlation of a head that is there
constexpr double quiet = 1e-3;  // -60 dBFS: nothing louder in the band means that nothing was recorded
constexpr int wrong_chirps_allowed = 1;
constexpr double clock_slack = 1e-3;     // between two clocks
constexpr double ending_slack_s = 0.55;  // a tone ends with half a second of silence

Absent refuse(std::string code, std::string text, std::string advice) {
    return {std::move(code), std::move(text), std::move(advice)};
}

/// Chirps of the head that look more like the other direction than like their own.
int wrong_chirps(const BandSignal& band, const TonePlan& plan, double head_s) {
    int wrong = 0;
    const BandShape rising_chirp = shape_in(band, plan.rising_chirp);
    const BandShape falling_chirp = shape_in(band, plan.falling_chirp);
    for (std::size_t k = 0; k < plan.chirp_starts_s.size(); ++k) {
        const double at = head_s + plan.chirp_starts_s[k];
        const double slack = 0.25 * plan.rising_chirp.duration_s;
        const double rising = best_match(band, rising_chirp, at - slack, at + slack).likeness;
        const double falling = best_match(band, falling_chirp, at - slack, at + slack).likeness;
        if ((rising > falling) != plan.chirp_rising[k]) ++wrong;
    }
    return wrong;
}

/// Seconds of the recording for one of the tone, where a head that is not found is found so. Clocks are not
/// that far apart: samples are left out or put in all the time.
std::optional<double> stretched_head(const BandSignal& band, const TonePlan& plan) {
    constexpr int steps = 20;
    constexpr double step = 1e-3;
    std::optional<double> ratio;
    double likeness = least_likeness;
    for (int k = -steps; k <= steps; ++k) {
        if (k == 0) continue;  // looked for before
        const double stretch = 1.0 + k * step;
        const Waveform head{stretch * plan.head.duration_s,
                            [&plan, stretch](double seconds) { return plan.head.at(seconds / stretch); }};
        const Match match = best_match(band, head, -0.5 * head.duration_s, band.duration_s());
        if (match.likeness <= likeness) continue;
        likeness = match.likeness;
        ratio = stretch;
    }
    return ratio;
}

Absent rate_off(double ratio) {
    std::array<char, 160> text{};
    std::snprintf(text.data(), text.size(),
                  "the tone comes back about %.1f %% %s than it was played: samples are %s all the time",
                  100.0 * std::abs(ratio - 1.0), ratio > 1.0 ? "longer" : "shorter",
                  ratio > 1.0 ? "put in" : "lost");
    return refuse("rate-off", text.data(),
                  "play and record without anything between that changes rate or speed: name the sound card "
                  "itself, switch speed and pitch controls off, then record again");
}

void add_heads(const BandSignal& band, const TonePlan& plan, double from_s, double to_s,
               std::vector<Match>& heads);

/// A head, and those before and after it.
void add_head(const BandSignal& band, const TonePlan& plan, const Match& head, double from_s, double to_s,
              std::vector<Match>& heads) {
    add_heads(band, plan, from_s, head.at_s - plan.head.duration_s, heads);
    heads.push_back(head);
    add_heads(band, plan, head.at_s + plan.head.duration_s, to_s, heads);
}

/// Every place where the head begins, in order.
void add_heads(const BandSignal& band, const TonePlan& plan, double from_s, double to_s,
               std::vector<Match>& heads) {
    if (to_s - from_s < plan.head.duration_s) return;
    const Match match = best_match(band, plan.head, from_s, to_s);
    if (match.likeness < least_likeness || wrong_chirps(band, plan, match.at_s) > wrong_chirps_allowed)
        return;
    add_head(band, plan, match, from_s, to_s, heads);
}

/// Of a tone that was started again, or that the player repeats: the best play that runs to its end before
/// the next one begins and the recording ends. The loudest head, or the first, may be that of another.
tl::expected<Match, Absent> whole_play(const BandSignal& band, const TonePlan& plan, const Match& best) {
    const double tone_s = plan.duration_s - plan.head_start_s;
    // A recording that has no room for a second beginning is not searched for one.
    if (band.duration_s() < plan.duration_s + plan.head.duration_s) return best;
    std::vector<Match> heads;
    add_head(band, plan, best, -0.5 * plan.head.duration_s, band.duration_s(), heads);
    if (heads.size() < 2) return best;
    std::optional<Match> chosen;
    for (std::size_t k = 0; k < heads.size(); ++k) {
        const double next_s = k + 1 < heads.size() ? heads[k + 1].at_s : band.duration_s();
        if (next_s - heads[k].at_s < tone_s * (1.0 - clock_slack) - ending_slack_s) continue;
        if (!chosen || heads[k].likeness > chosen->likeness) chosen = heads[k];
    }
    if (chosen) return *chosen;
    return tl::unexpected<Absent>(
        refuse("begins-again",
               "the tone begins " + std::to_string(heads.size()) +
                   " times in the recording, and each time it is broken off or begun anew before its end",
               "play the tone file once, from its start to its end, with the player's repeat off, and record "
               "again"));
}

Waveform backwards(const Waveform& wave) {
    return {wave.duration_s, [wave](double seconds) { return wave.at(wave.duration_s - seconds); }};
}

}  // namespace

tl::expected<Placement, Absent> align(const std::vector<float>& recording, double rate_hz,
                                      const TonePlan& plan) {
    const BandSignal band = band_limit(recording, rate_hz, 0.8 * plan.low_hz, 1.2 * plan.high_hz);
    if (band.peak() < quiet * 1e-2 || recording.size() < 16) {
        return tl::unexpected<Absent>(
            refuse("no-signal",
                   "no signal: nothing in the recording is louder than -100 dBFS near the tone's frequency",
                   "check that the player played, the leads and the input, then record again"));
    }
    const double last_s = band.duration_s();
    const Match head = best_match(band, plan.head, -0.5 * plan.head.duration_s, last_s);
    const double likeness_backwards = best_match(band, backwards(plan.head), 0.0, last_s).likeness;
    if (likeness_backwards >= least_likeness && likeness_backwards > head.likeness) {
        return tl::unexpected<Absent>(
            refuse("backwards", "the recording runs backwards", "save it again as it was recorded"));
    }
    if (head.likeness < least_likeness) {
        if (band.peak() < quiet) {
            return tl::unexpected<Absent>(refuse(
                "no-signal",
                "no signal: nothing in the recording is louder than -60 dBFS near the tone's frequency "
                "and the tone's start is not in it",
                "check that the player played, the leads and the input, then record again"));
        }
        if (const auto ratio = stretched_head(band, plan)) return tl::unexpected<Absent>(rate_off(*ratio));
        return tl::unexpected<Absent>(
            refuse("another-signal", "another signal: the start of this test's tone is not in the recording",
                   "start recording before the tone, play this test's own file, whole, at one setting"));
    }
    if (wrong_chirps(band, plan, head.at_s) > wrong_chirps_allowed) {
        return tl::unexpected<Absent>(
            refuse("another-signal", "another signal: the recording starts with another test's tone",
                   "give each recording the name of the tone file that was played"));
    }
    const auto play = whole_play(band, plan, head);
    if (!play) return tl::unexpected<Absent>(play.error());
    Placement placement = track_marks(band, plan, *play);
    placement.confidence = play->likeness;
    return placement;
}

}  // namespace assay::analysis
