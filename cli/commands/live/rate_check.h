// Does the card run at the rate that it says? Plugs, mixers and sound servers change the rate unasked; what
// was above half of the lower rate is gone then, or stands mirrored below it. A quiet tone up there, right
// behind that of the wiring check, tells. Heard: lower rates up to 48 kHz; a card that runs at 96 and says
// 192 kHz is not found, since an analogue path need not carry what would show it.
#pragma once

#include <optional>
#include <vector>

#include "capture/bench.h"
#include "capture/recording.h"
#include "capture/tone/tone.h"
#include "cli/commands/live/heard_tone.h"
#include "cli/commands/live/trust_remark.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// Above half of the next lower common rate, as far below half of this one as an anti-alias filter needs;
/// none up to 44.1 kHz.
std::optional<double> rate_tone_hz(double rate_hz);

/// Appends half a second of that tone to one that ends with a step of `step_s` and its mark.
void add_rate_tone(capture::Tone& tone, double frequency_hz, double level_dbfs);

/// What an input hears of the two tones, dB re the lower one.
struct HeardBand {
    bool told = false;          // loud enough against the noise for a verdict
    double tone_db = 0.0;       // of the upper tone
    double mirror_db = 0.0;     // the strongest of its mirrors at lower common rates
    double mirror_of_hz = 0.0;  // that rate
    bool changed() const;
};

/// One entry an input of the bench, of a tone to which add_rate_tone was done.
[[nodiscard]] capture::Result<std::vector<HeardBand>> listen_band(const capture::Bench& bench,
                                                                  const capture::Recording& recording,
                                                                  const capture::Tone& tone,
                                                                  double frequency_hz);

/// An input of role "reference" proves it: a fault of kind untrusted_capture. Behind a unit it is a doubt,
/// for a unit may end its band below: a remark, or none.
[[nodiscard]] capture::Result<std::optional<TrustRemark>> judge_rate(const Setup& setup,
                                                                     const HeardOutput& heard,
                                                                     const std::vector<HeardBand>& band);

}  // namespace assay::cli
