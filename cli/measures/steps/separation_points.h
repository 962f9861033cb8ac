// What a separation test hears at each of its steps: the driven channel's tone, and in the idle channel what
// of it comes over. Hum of the idle channel's own that lies on the tone is taken out, as far as the steps of
// other frequencies tell it.
#pragma once

#include <vector>

#include "cli/measures/recording/placed_take.h"

namespace assay::cli {

struct SeparationPoint {
    double frequency_hz = 0.0;
    double driven_v = 0.0;     // peak, as all volts here
    double idle_v = 0.0;       // of the tone, without the hum
    double noise_v = 0.0;      // standard deviation that noise gives to it
    double hum_v = 0.0;        // size of the hum on the tone, where one is heard
    double hum_doubt_v = 0.0;  // what is left of that in doubt
    double idle_share = 1.0;
    double driven_share = 1.0;
    double interpolation_db = 0.0;  // what a straight line between two levels may be off by

    double idle_doubt_v() const;
    bool heard() const;
    double separation_db() const;
    double at_least_db() const;
};

/// One for each step of the take.
std::vector<SeparationPoint> read_separation_points(const Setup& setup, const Take& take,
                                                    const PlacedTake& placed);

/// Names the frequencies at which hum was taken out and mattered, and those at which it hides the tone.
void warn_of_hum(const std::vector<SeparationPoint>& points, Numbers& numbers);

}  // namespace assay::cli
