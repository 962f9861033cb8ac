#include "cli/measures/recording/interference.h"

#include <fmt/format.h>

#include "cli/measures/plain_number.h"

namespace assay::cli {

namespace {
constexpr double noticeable = 0.005;  // of the power; a tenth of what a basis may be off
constexpr double mostly = 0.5;
}  // namespace

void warn_of_interference(const analysis::StepReading& step, Numbers& numbers) {
    const double whole_square = step.total_v * step.total_v;
    const double foreign_square = step.noise_v * step.noise_v;
    if (!(foreign_square > noticeable * whole_square)) return;
    const double percent = 100.0 * foreign_square / whole_square;
    if (step.hum_v * step.hum_v > mostly * foreign_square) {
        numbers.warn(
            "hum", fmt::format("hum of {} makes up {:.2g} % of the power", plain_volts(step.hum_v), percent),
            "find the ground loop: one ground point, shorter leads, the player on its battery");
        return;
    }
    numbers.warn("interference",
                 fmt::format("{} that are neither the tone nor its harmonics make up {:.2g} % of the power",
                             plain_volts(step.noise_v), percent),
                 "look for another source playing, a whistle of a supply, or a noisy input");
}

std::optional<analysis::Absent> below_floor(double ratio, double noise, double own) {
    if (ratio < times_floor * own)
        return analysis::Absent{"below-own-distortion",
                                fmt::format("below {} %, three times the chain's own residual",
                                            plain_number(100.0 * times_floor * own, 2)),
                                "use a cleaner sound card, or a loopback that shows less residual"};
    if (ratio < times_floor * noise)
        return analysis::Absent{"below-noise",
                                fmt::format("below {} %, three times what noise alone adds",
                                            plain_number(100.0 * times_floor * noise, 2)),
                                "raise the level or lower the noise if the number matters"};
    return std::nullopt;
}

void warn_of_unknown_own_distortion(const capture::Input& input, Numbers& numbers) {
    if (input.own_thd_percent) return;
    numbers.warn("own-distortion-unknown",
                 "the distortion of player and recorder themselves is not known and is counted as the unit's",
                 "measure a loopback and state own_thd_percent of the input");
}

}  // namespace assay::cli
