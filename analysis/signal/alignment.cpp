#include "analysis/signal/alignment.h"

#include <algorithm>
#include <cmath>
#include <complex>

#include "analysis/signal/band_search.h"
#include "analysis/signal/mark_tracking.h"

namespace assay::analysis {

namespace {

constexpr double found = 0.6;   // normalised correlation of a head that is there
constexpr double quiet = 1e-3;  // -60 dBFS: nothing louder in the band means that nothing was recorded
constexpr int wrong_chirps_allowed = 1;

Absent refuse(std::string code, std::string text, std::string advice) {
    return {std::move(code), std::move(text), std::move(advice)};
}

/// Chirps of the head that look more like the other direction than like their own.
int wrong_chirps(const BandSignal& band, const TonePlan& plan, double head_s) {
    int wrong = 0;
    for (std::size_t k = 0; k < plan.chirp_starts_s.size(); ++k) {
        const double at = head_s + plan.chirp_starts_s[k];
        const double slack = 0.25 * plan.rising_chirp.duration_s;
        const double rising = best_match(band, plan.rising_chirp, at - slack, at + slack).likeness;
        const double falling = best_match(band, plan.falling_chirp, at - slack, at + slack).likeness;
        if ((rising > falling) != plan.chirp_rising[k]) ++wrong;
    }
    return wrong;
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
    if (likeness_backwards >= found && likeness_backwards > head.likeness) {
        return tl::unexpected<Absent>(
            refuse("backwards", "the recording runs backwards", "save it again as it was recorded"));
    }
    if (head.likeness < found) {
        if (band.peak() < quiet) {
            return tl::unexpected<Absent>(refuse(
                "no-signal",
                "no signal: nothing in the recording is louder than -60 dBFS near the tone's frequency "
                "and the tone's start is not in it",
                "check that the player played, the leads and the input, then record again"));
        }
        return tl::unexpected<Absent>(
            refuse("another-signal", "another signal: the start of this test's tone is not in the recording",
                   "start recording before the tone, play this test's own file, whole, at one setting"));
    }
    if (wrong_chirps(band, plan, head.at_s) > wrong_chirps_allowed) {
        return tl::unexpected<Absent>(
            refuse("another-signal", "another signal: the recording starts with another test's tone",
                   "give each recording the name of the tone file that was played"));
    }
    Placement placement = track_marks(band, plan, head);
    placement.confidence = head.likeness;
    return placement;
}

}  // namespace assay::analysis
