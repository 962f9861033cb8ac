// Whether two benches hold the same in every member. The members are named one by one, so that the compiler
// asks for a new one here.
#pragma once

#include <tuple>

#include "capture/bench.h"
#include "capture/simulated/settings_keys.h"

namespace assay::capture {

inline auto members(const RelativeDoubt& of) {
    const auto& [source, relative] = of;
    return std::tie(source, relative);
}
inline bool operator==(const RelativeDoubt& one, const RelativeDoubt& other) {
    return members(one) == members(other);
}

inline auto members(const Output& of) {
    const auto& [name, channel, scale, volts, dbfs, inverted] = of;
    return std::tie(name, channel, scale, volts, dbfs, inverted);
}
inline bool operator==(const Output& one, const Output& other) {
    return members(one) == members(other);
}

inline auto members(const Input& of) {
    const auto& [name, channel, volts, attenuation, doubts, at_hz, clean, thd, high_pass, inverted, role,
                 threshold, response, driven_by] = of;
    return std::tie(name, channel, volts, attenuation, doubts, at_hz, clean, thd, high_pass, inverted, role,
                    threshold, response, driven_by);
}
inline bool operator==(const Input& one, const Input& other) {
    return members(one) == members(other);
}

inline auto members(const Meter& of) {
    const auto& [name, accuracy, digits, resolution, ac_max_hz, true_rms] = of;
    return std::tie(name, accuracy, digits, resolution, ac_max_hz, true_rms);
}
inline bool operator==(const Meter& one, const Meter& other) {
    return members(one) == members(other);
}

inline auto members(const Load& of) {
    const auto& [name, ohm, doubts, rated, no_heatsink, tempco, inductance, driven_by, plus, minus, bare] =
        of;
    return std::tie(name, ohm, doubts, rated, no_heatsink, tempco, inductance, driven_by, plus, minus, bare);
}
inline bool operator==(const Load& one, const Load& other) {
    return members(one) == members(other);
}

inline auto members(const ImpedanceJig& of) {
    const auto& [topology, ohm, doubts, generator, driver, lead, resistance, match] = of;
    return std::tie(topology, ohm, doubts, generator, driver, lead, resistance, match);
}
inline bool operator==(const ImpedanceJig& one, const ImpedanceJig& other) {
    return members(one) == members(other);
}

inline bool same_settings(SimulatedBench one, SimulatedBench other) {
    const auto left = setting_keys(one);
    const auto right = setting_keys(other);
    for (std::size_t k = 0; k < left.size(); ++k) {
        const bool same = std::visit(
            [&](const auto* value) {
                return *value == **std::get_if<std::remove_const_t<std::remove_pointer_t<decltype(value)>>*>(
                                     &right[k].value);
            },
            left[k].value);
        if (!same) return false;
    }
    return true;
}

inline bool same_bench(const Bench& one, const Bench& other) {
    const auto members = [](const Bench& of) {
        const auto& [source, playback, record, rate, shared, ground, outputs, inputs, meters, loads, jig,
                     simulated] = of;
        static_cast<void>(simulated);
        return std::tie(source, playback, record, rate, shared, ground, outputs, inputs, meters, loads, jig);
    };
    return members(one) == members(other) && same_settings(one.simulated, other.simulated);
}

}  // namespace assay::capture
