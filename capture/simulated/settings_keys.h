// The settings of the simulated bench by name: one list feeds the reader of the bench file, its
// documentation and the copy in a session.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>
#include <variant>
#include <vector>

#include "capture/simulated/settings.h"

namespace assay::capture {

/// Points into the SimulatedBench that it was made for. Range ends are allowed values; a pair is
/// written as an array of two numbers, each within the range.
struct SettingKey {
    std::string_view table;  // "simulated", "simulated.amplifier", "simulated.card"
    std::string_view key;    // the member's own name
    std::string_view unit;   // "V", "ohm", "Hz"; empty for a bare number or a truth value
    double minimum = 0.0;    // not looked at for truth values and the seed
    double maximum = 0.0;
    std::variant<double*, int*, bool*, std::array<double, 2>*, std::uint64_t*> value{};
};

std::vector<SettingKey> setting_keys(SimulatedBench& bench);

}  // namespace assay::capture
