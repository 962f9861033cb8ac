// Limits before sound: no tone is louder than the bench allows, none starts or stops with a jump, and a
// person is told what a tone puts into the load resistor.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>

#include "capture/bench.h"
#include "capture/fault.h"
#include "capture/tone/tone.h"

namespace assay::capture {

/// Refuses a tone with a segment louder than an output's limit (reaching it is allowed), a segment that
/// does not lie in order inside the tone, or one without fades. `outputs` are indices into bench.outputs.
[[nodiscard]] Result<void> check_tone(const Bench& bench, std::span<const std::size_t> outputs,
                                      const Tone& tone);

struct LoadHeat {
    enum class Verdict {
        no_power,        // nothing is connected: resistance is infinite
        unrated,         // the bench file gives no rating
        within,          // even the loudest segment stays within the rating
        within_average,  // louder parts pass the rating, the whole tone on average does not
        over,            // the average of the whole tone passes the rating
    };
    Verdict verdict = Verdict::unrated;
    double energy_ws = 0.0;            // watt-seconds of the whole tone
    double average_power_w = 0.0;      // over the whole tone with its silence
    double highest_power_w = 0.0;      // while the loudest segment plays
    std::optional<double> rating_w{};  // what was compared with: without heatsink where that is given
    double above_rating_s = 0.0;       // time that segments spend above the rating
    std::string text{};                // one line for a person
};

/// The heat of a tone in a load that takes `power_at_peak_w` while the tone's loudest segment plays: an
/// unclipped amplifier, whose power follows the level. It is the caller's to state the power of a clipped
/// one, which comes to at most twice the sine's. Fades are counted as such.
LoadHeat heat_in_load(const Load& load, const Tone& tone, double power_at_peak_w);

}  // namespace assay::capture
