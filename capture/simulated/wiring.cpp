#include "capture/simulated/wiring.h"

#include <fmt/core.h>

#include <algorithm>
#include <numeric>

namespace assay::capture {

namespace {

constexpr std::size_t amplifier_channels = 2;

/// The channel that the load's only output feeds, if that settles it.
std::optional<std::size_t> fed_channel(const Bench& bench, const Load& load) {
    if (bench.outputs.size() < amplifier_channels || load.driven_by.size() != 1) return std::nullopt;
    return load.driven_by.front();
}

/// Inputs of loads that no output settles, in the order of their first load.
std::vector<std::size_t> shared_out_inputs(const Bench& bench) {
    std::vector<std::size_t> inputs;
    for (const Load& load : bench.loads) {
        if (load.bridged() || fed_channel(bench, load)) continue;
        if (std::find(inputs.begin(), inputs.end(), load.plus) == inputs.end()) inputs.push_back(load.plus);
    }
    return inputs;
}

std::size_t place_of(const std::vector<std::size_t>& inputs, std::size_t input) {
    return static_cast<std::size_t>(std::find(inputs.begin(), inputs.end(), input) - inputs.begin());
}

WiredLoad wired(const Bench& bench, std::size_t index, const std::vector<std::size_t>& shared_out) {
    const Load& load = bench.loads[index];
    if (!load.bridged()) {
        return {index, fed_channel(bench, load).value_or(place_of(shared_out, load.plus)), std::nullopt};
    }
    if (load.driven_by.size() >= 2) return {index, load.driven_by[0], load.driven_by[1]};
    const std::size_t plus = place_of(shared_out, load.plus) == 1 ? 1 : 0;
    return {index, plus, 1 - plus};
}

Result<void> touch(const Bench& bench, std::size_t input, std::size_t channel,
                   std::vector<WiredInput>& touched) {
    for (const WiredInput& other : touched) {
        if (other.input == input && other.channel != channel) {
            return fail(FaultKind::bad_input_file,
                        fmt::format("simulated bench: input '{}' would be on both amplifier channels at once",
                                    bench.inputs[input].name),
                        "give each channel's loads their own input, or test them one after the other");
        }
        if (other.input == input) return {};
    }
    touched.push_back({input, true, channel});
    return {};
}

Result<void> check_unambiguous(const Bench& bench) {
    std::vector<const Load*> user(bench.inputs.size(), nullptr);
    for (const Load& load : bench.loads) {
        for (const std::size_t input : {load.plus, load.minus.value_or(load.plus)}) {
            const Load*& first = user[input];
            if (first != nullptr && first != &load) {
                return fail(
                    FaultKind::bad_input_file,
                    fmt::format(
                        "simulated bench: loads '{}' and '{}' share input '{}', and nothing says which is "
                        "connected",
                        first->name, load.name, bench.inputs[input].name),
                    "name the loads in the test");
            }
            first = &load;
        }
    }
    return {};
}

}  // namespace

Result<SimulatedWiring> wire(const Bench& bench, std::span<const std::size_t> connected) {
    if (bench.outputs.empty()) {
        return fail(FaultKind::bad_input_file, "simulated bench: no [[output]] to play on",
                    "add an [[output]]");
    }
    std::vector<std::size_t> chosen(connected.begin(), connected.end());
    if (chosen.empty()) {
        if (auto clear = check_unambiguous(bench); !clear) return tl::unexpected(clear.error());
        chosen.resize(bench.loads.size());
        std::iota(chosen.begin(), chosen.end(), std::size_t{0});
    }

    SimulatedWiring wiring;
    wiring.feeds = {0, bench.outputs.size() > 1 ? 1 : 0};
    const std::vector<std::size_t> shared_out = shared_out_inputs(bench);
    for (const std::size_t index : chosen) {
        const Load& load = bench.loads[index];
        const WiredLoad hung = wired(bench, index, shared_out);
        if (hung.plus >= amplifier_channels || hung.minus.value_or(0) >= amplifier_channels) {
            return fail(
                FaultKind::bad_input_file,
                fmt::format("simulated bench: load '{}' would need a third amplifier channel", load.name),
                "the simulated amplifier has two channels, fed by the first two outputs");
        }
        if (hung.minus == hung.plus) {
            return fail(FaultKind::bad_input_file,
                        fmt::format("simulated bench: both ends of load '{}' are on one amplifier channel",
                                    load.name),
                        "name two different outputs in driven_by");
        }
        wiring.loads.push_back(hung);
        if (auto done = touch(bench, load.plus, hung.plus, wiring.inputs); !done)
            return tl::unexpected(done.error());
        if (!hung.minus) continue;
        if (auto done = touch(bench, *load.minus, *hung.minus, wiring.inputs); !done)
            return tl::unexpected(done.error());
        if (load.driven_by.size() < 2) {
            const std::size_t output = load.driven_by.empty() ? 0 : load.driven_by.front();
            wiring.feeds = {output, output};
            wiring.second_inverted = true;
        }
    }

    std::size_t references = 0;
    for (std::size_t input = 0; input < bench.inputs.size(); ++input) {
        if (bench.inputs[input].role != InputRole::reference || references >= amplifier_channels) continue;
        wiring.inputs.push_back({input, false, references++});
    }
    return wiring;
}

}  // namespace assay::capture
