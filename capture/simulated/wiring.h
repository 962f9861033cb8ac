// How the simulated bench is wired: which output feeds which of the amplifier's two channels, which
// loads hang on them, which input touches what.
//
// - The nth of Bench::outputs feeds amplifier channel n; a bench with one output feeds both. Outputs
//   from the third on lead nowhere.
// - A load to ground hangs on the channel that its only output feeds. Where that leaves both (a bench
//   with one output, a load driven by both), the `plus` inputs of such loads are shared out in the
//   order of Bench::loads: the first is at channel 1, the second at channel 2.
// - A bridged load: the first of its outputs drives `plus`, the second `minus`. If only one output
//   reaches it, both channels get that output's signal and the second one inverts it, `plus` being at
//   channel 1 (unless the loads to ground have put that input at channel 2).
// - An input of role `reference` is on the amplifier's own input: the first on that of channel 1, the
//   second on channel 2. An input that no load names touches nothing.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"

namespace assay::capture {

struct WiredLoad {
    std::size_t load = 0;                // index into Bench::loads
    std::size_t plus = 0;                // amplifier channel, 0 or 1
    std::optional<std::size_t> minus{};  // of a bridged load
};

struct WiredInput {
    std::size_t input = 0;  // index into Bench::inputs
    bool at_output = true;  // of the amplifier; false: at its input
    std::size_t channel = 0;
};

struct SimulatedWiring {
    std::array<std::optional<std::size_t>, 2> feeds{};  // output that feeds each amplifier channel
    bool second_inverted = false;                       // by the bridge switch
    std::vector<WiredLoad> loads{};                     // those connected
    std::vector<WiredInput> inputs{};                   // those that touch something
};

/// `connected`: indices of loads that are on the bench at this time; empty: all of them. Refused: two
/// loads that share an input when nobody said which is connected, and loads that put one input, or
/// the two ends of a bridge, on contradicting channels.
[[nodiscard]] Result<SimulatedWiring> wire(const Bench& bench, std::span<const std::size_t> connected);

}  // namespace assay::capture
