#include "cli/measures/sweep/response_remarks.h"

#include <fmt/format.h>

#include <cmath>

#include "cli/measures/recording/held_level.h"

namespace assay::cli {

namespace {
constexpr double level_held = 0.005;  // of the volts, from before the sweep to after it
}

void remark_on_sweep(const ResponseReading& reading, std::size_t l, const capture::Input& input,
                     const LoadCardResponse& card, Numbers& numbers) {
    const bool by_card = !reading.reference;  // a reference went through the same card
    if (std::abs(reading.level_change[l]) > level_held) {
        numbers.warn("level-changed",
                     fmt::format("the steady tone after the sweep is {:+.2f} % of the one before it",
                                 100.0 * reading.level_change[l]),
                     "let the unit warm up, leave its knobs alone, and look for level control in the "
                     "player or recorder");
    }
    warn_if_not_clean(input, reading.plus_peak_dbfs[l], numbers);
    if (by_card && card.usable() && card.days_old) {
        numbers.warn("loopback-old",
                     fmt::format("{} is {} days old and holds for {}: all that it takes out is doubted",
                                 card.file, *card.days_old, loopback_holds_days),
                     "run `assay calibrate loopback` again");
    }
    if (by_card && card.usable() && !card.states_doubt()) {
        numbers.warn("loopback-exact",
                     card.file + " states no standard_uncertainty_db: what it takes out is taken as exact",
                     "run `assay calibrate loopback` again, which states it");
    }
    if (by_card && !card.usable()) {
        numbers.warn("recorder-in-the-curve",
                     "what the sound card itself does to the band is in the curve: " + card.why_not,
                     card.mend);
    }
}

}  // namespace assay::cli
