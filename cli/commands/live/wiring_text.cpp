#include "cli/commands/live/wiring_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/units.h"
#include "capture/bench.h"
#include "cli/commands/stock_parts.h"
#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

using capture::Bench;
using capture::Input;
using capture::Load;

std::string card_input(const Input& input) {
    std::string text = fmt::format("card input {} \"{}\"", input.channel, input.name);
    if (input.attenuation != 1.0) return fmt::format("[divider {:.4g} to 1] -> {}", input.attenuation, text);
    return "[direct] -> " + text;
}

std::string ohms(const Load& load) {
    return std::isinf(load.resistance_ohm) ? "no load" : fmt::format("{:.4g} ohm", load.resistance_ohm);
}

/// Tests that are connected alike: they are drawn once.
struct Arrangement {
    std::vector<const Test*> tests{};
    bool one_node = false;  // both inputs of the jig at the generator
    std::vector<std::size_t> loads{};
};

/// In the order in which they first come.
std::vector<Arrangement> arrangements(const Job& job) {
    std::vector<Arrangement> found;
    for (const Test& test : job.tests) {
        const Measure* measure = find_measure(test.measure);
        if (measure == nullptr || !measure->plays) continue;
        const bool one_node = test.measure == "match";
        auto same = std::ranges::find_if(found, [&](const Arrangement& other) {
            return other.one_node == one_node && other.loads == test.loads;
        });
        if (same == found.end()) same = found.insert(found.end(), {{}, one_node, test.loads});
        same->tests.push_back(&test);
    }
    return found;
}

std::string tests_text(const Arrangement& arrangement) {
    std::string text = arrangement.tests.size() == 1 ? "test " : "tests ";
    for (const Test* test : arrangement.tests)
        text += fmt::format("{}\"{}\" ({})", test == arrangement.tests.front() ? "" : ", ", test->id,
                            test->measure);
    return text + "\n";
}

/// The highest power that a claim on one of these tests states for this load, W.
std::optional<double> claimed_w(const Job& job, const Arrangement& arrangement, const std::string& load) {
    std::optional<double> power;
    for (const Claim& claim : job.claims) {
        const bool of_these =
            std::ranges::any_of(arrangement.tests, [&](const Test* test) { return test->id == claim.test; });
        if (!of_these || claim.load != load || !claim.quantity.ends_with("_w")) continue;
        for (const auto& limit : {claim.at_least, claim.nominal, claim.at_most}) {
            if (limit) power = std::max(power.value_or(0.0), *limit);
        }
    }
    return power;
}

/// dBFS of a sine's peak at an input that sees this share of the load's volts.
double level_dbfs(const Input& input, double peak_v) {
    return analysis::decibels(peak_v / std::abs(input.volts_per_unit()));
}

struct Level {
    double rated_dbfs = 0.0;
    double worst_dbfs = 0.0;
};

/// The worst case is twice the power, driven into clipping: the same peak as the sine of twice the power.
Level levels(const Load& load, const Input& input, double power_w) {
    const double share = load.bridged() ? 0.5 : 1.0;
    const double peak_v = std::sqrt(2.0 * power_w * load.resistance_ohm) * share;
    return {level_dbfs(input, peak_v), level_dbfs(input, peak_v * std::sqrt(2.0))};
}

std::string outputs_text(const Bench& bench, const Load& load) {
    std::string text;
    for (const std::size_t index : load.driven_by) {
        const capture::Output& output = bench.outputs[index];
        text +=
            fmt::format("{}card output {} \"{}\"", text.empty() ? "" : " and ", output.channel, output.name);
    }
    return text.empty() ? "the player" : text;
}

std::string load_text(const Bench& bench, const Load& load) {
    const Input& plus = bench.inputs[load.plus];
    if (load.bare_input) {
        return fmt::format(
            "  {} ---> unit's input\n"
            "  unit's output ---> {}\n"
            "  recorder's ground: at the shell of that output, connected first. A balanced output has no "
            "ground there:\n"
            "  take its ground pin, and one of its two legs.\n",
            outputs_text(bench, load), card_input(plus));
    }
    std::string text = fmt::format("  {} ---> unit's input\n", outputs_text(bench, load));
    text += fmt::format("  unit + ---+--- load \"{}\", {} ---+--- unit -\n", load.name, ohms(load));
    if (!load.minus) {
        text += fmt::format("            |\n            +--- {}\n", card_input(plus));
        text += bench.ground == capture::Ground::load_minus
                    ? "  recorder's ground: at the unit's - terminal, connected first\n"
                    : "  recorder's ground: at the supply's negative, connected first\n";
        return text;
    }
    const Input& minus = bench.inputs[*load.minus];
    text += fmt::format("            |{:>{}}|\n", "", load.name.size() + ohms(load).size() + 16);
    text += fmt::format("            |{:>{}}+--- {}\n", "", load.name.size() + ohms(load).size() + 16,
                        card_input(minus));
    text += fmt::format("            +--- {}\n", card_input(plus));
    text +=
        "  BRIDGED: BOTH terminals are live. The recorder's ground goes to NEITHER of them: it goes to the "
        "supply's\n"
        "  negative. Before connecting, read with the meter: + to ground, - to ground, + to -. The first two "
        "stand at\n"
        "  the same volts (ground or half the supply), the last at nearly nothing.\n";
    return text;
}

std::string jig_text(const Bench& bench, bool one_node) {
    const capture::ImpedanceJig& jig = *bench.jig;
    const std::string generator = card_input(bench.inputs[jig.generator_side]);
    const std::string driver = card_input(bench.inputs[jig.driver_side]);
    if (one_node)
        return fmt::format(
            "  generator ---+--- {}\n"
            "               +--- {}\n"
            "  both inputs at the generator, their grounds at its ground; the driver is not connected\n",
            generator, driver);
    const bool high = jig.topology == capture::ImpedanceJig::Topology::series_high;
    const std::string first = high ? fmt::format("resistor {:.5g} ohm", jig.series_ohm) : "driver";
    const std::string second = high ? "driver" : fmt::format("resistor {:.5g} ohm", jig.series_ohm);
    return fmt::format(
        "  generator ---+--- {} ---+--- {} --- ground (of generator and recorder)\n"
        "               |    {:>{}}    |\n"
        "               |    {:>{}}    +--- {}\n"
        "               +--- {}\n",
        first, second, "", first.size(), "", first.size(), driver, generator);
}

}  // namespace

capture::Result<std::string> wiring_text(const Job& job, const Bench& bench) {
    std::string text;
    for (const Arrangement& arrangement : arrangements(job)) {
        text += tests_text(arrangement);
        if (arrangement.loads.empty() && bench.jig) text += jig_text(bench, arrangement.one_node);
        for (const std::size_t index : arrangement.loads) {
            const Load& load = bench.loads[index];
            text += load_text(bench, load);
            const auto power_w = claimed_w(job, arrangement, load.name);
            if (!power_w || std::isinf(load.resistance_ohm)) {
                text += fmt::format(
                    "  full scale of \"{}\" is {:.4g} V peak at the probe; no claim says how much will "
                    "come\n",
                    bench.inputs[load.plus].name, std::abs(bench.inputs[load.plus].volts_per_unit()));
                continue;
            }
            for (const auto& probe : {std::optional{load.plus}, load.minus}) {
                if (!probe) continue;
                const Input& input = bench.inputs[*probe];
                const Level level = levels(load, input, *power_w);
                text += fmt::format(
                    "  \"{}\" will see {:.1f} dBFS at the claimed {:.4g} W, {:.1f} dBFS at twice of it\n",
                    input.name, level.rated_dbfs, *power_w, level.worst_dbfs);
                if (level.worst_dbfs > 0.0) {
                    return capture::fail(
                        capture::FaultKind::bad_input_file,
                        fmt::format("input \"{}\" would be overloaded: {:.4g} W into load \"{}\" are {:.1f} "
                                    "dBFS, twice of it {:.1f} dBFS",
                                    input.name, *power_w, load.name, level.rated_dbfs, level.worst_dbfs),
                        fmt::format("raise its attenuation to {:.3g} or more",
                                    input.attenuation * analysis::ratio_from_decibels(level.worst_dbfs -
                                                                                      divider_target_dbfs)));
                }
            }
        }
        text += "\n";
    }
    text += "Grounds first, signals last; disconnect in reverse. Switch the unit off to move a lead.\n";
    return text;
}

}  // namespace assay::cli
