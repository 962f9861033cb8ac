// Units of the demo and of plausibility tests. Maker and model are invented.
//
// Common practice, no source: an honest small amplifier rated 22.5 W a channel into 4 ohm on 12 V gives
// about twice that at 1 % distortion. Its supply and output stage are chosen so that one channel alone
// gives 50 W into 4 ohm and 80 W into 2 ohm; every other figure, the bridged power among them, then
// follows from the model: both halves of a bridge see half the load on one shared supply, so that 4 ohm
// bridged stays well below four times the single channel's power.
#pragma once

#include <string_view>

#include "capture/simulated/settings.h"

namespace assay::capture {

constexpr std::string_view demo_maker = "Quellbach";
constexpr std::string_view demo_model = "QB 225";
constexpr double demo_rated_power_w = 22.5;  // a channel, into 4 ohm, on demo_rated_supply_v
constexpr double demo_rated_supply_v = 12.0;

/// As it left the works: 45 to 55 W a channel into 4 ohm at 1 % distortion, one or both driven.
SimulatedBench healthy_demo_unit();

/// The same model with a worn negative rail: about 18 W a channel, both driven.
SimulatedBench tired_demo_unit();

}  // namespace assay::capture
