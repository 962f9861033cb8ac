#include "cli/commands/live/preflight.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "cli/commands/live/meter_desk.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double ground_v = 0.1;     // of DC: as good as ground
constexpr double most_dc_v = 0.1;    // across the load, before it is worth a word
constexpr double faulty_dc_v = 1.0;  // across the load: an output stage that is stuck or broken
constexpr double fit_v = 0.1;        // three readings, one after the other, fit together
constexpr double fit_share = 0.03;   // and this share of the largest
constexpr double half_from = 0.3;    // of the supply: idles at half of it
constexpr double half_to = 0.7;
constexpr double most_volts = 500.0;

tl::unexpected<capture::Fault> refuse(const capture::Load& load, const std::string& text,
                                      const std::string& mend) {
    return capture::fail(FaultKind::untrusted_capture, fmt::format("load \"{}\": {}", load.name, text), mend);
}

}  // namespace

bool needs_preflight(const capture::Load& load, const Unit& unit) {
    if (unit.kind == UnitKind::driver) return false;
    return load.minus.has_value() || unit.minimum_bridged_load_ohm.has_value();
}

Result<std::vector<std::string>> judge_terminals(const capture::Load& load, const TerminalVolts& volts,
                                                 std::optional<double> supply_v) {
    const double plus = volts.plus_to_ground_v;
    const double minus = volts.minus_to_ground_v;
    const double across = volts.plus_to_minus_v;
    const double larger = std::max(std::abs(plus), std::abs(minus));
    if (std::abs(plus - minus - across) > fit_v + fit_share * larger) {
        return refuse(
            load,
            fmt::format("the three readings do not fit together: {:.4g} V less {:.4g} V is {:.4g} V, "
                        "and {:.4g} V was read from + to -",
                        plus, minus, plus - minus, across),
            "read again, DC range, the black lead on the supply's negative for the first two");
    }
    if (std::abs(across) > faulty_dc_v) {
        return refuse(load,
                      fmt::format("{:.4g} V of DC between + and -: the output stage is stuck or broken, and "
                                  "would burn a loudspeaker",
                                  across),
                      "connect nothing to this output; have it mended first");
    }
    if (!load.minus && std::abs(minus) > ground_v) {
        return refuse(
            load,
            fmt::format("its - terminal stands at {:.4g} V and is not ground; the recorder's ground "
                        "there would short the output",
                        minus),
            "use two probes: give the load a `minus` in the bench file, and keep the recorder's "
            "ground at the supply's negative");
    }
    std::vector<std::string> lines;
    if (larger <= ground_v) {
        lines.push_back(fmt::format("  load \"{}\": both terminals idle at ground", load.name));
    } else if (supply_v && (std::min(plus, minus) < half_from * *supply_v ||
                            std::max(plus, minus) > half_to * *supply_v)) {
        return refuse(load,
                      fmt::format("its terminals idle at {:.4g} V and {:.4g} V with a supply of {:.4g} V: "
                                  "neither ground nor half of it",
                                  plus, minus, *supply_v),
                      "connect nothing to this output; look at its output stage, mute and protection");
    } else {
        lines.push_back(
            fmt::format("  load \"{}\": both terminals idle near {:.4g} V, as units with a single supply do: "
                        "both are live",
                        load.name, 0.5 * (plus + minus)));
    }
    if (std::abs(across) > most_dc_v) {
        lines.push_back(
            fmt::format("  load \"{}\": WATCH OUT: {:.0f} mV of DC between + and -, more than {:.0f} mV: "
                        "look at the output stage before a loudspeaker is connected",
                        load.name, 1000.0 * across, 1000.0 * most_dc_v));
    }
    return lines;
}

Result<TerminalVolts> ask_terminals(Questions& questions, const capture::Load& load) {
    if (!questions.can_ask()) {
        return capture::fail(
            FaultKind::bad_arguments,
            fmt::format("load \"{}\" hangs on an output that may be bridged: three meter readings are needed "
                        "before it is connected",
                        load.name),
            fmt::format("run at a terminal, or give --answers FILE with {0}-plus_to_ground_v, "
                        "{0}-minus_to_ground_v and {0}-plus_to_minus_v",
                        load.name));
    }
    TerminalVolts volts;
    struct Asked {
        const char* key;
        const char* words;
        double* value;
    };
    const std::array<Asked, 3> all{{
        {"plus_to_ground_v", "+ terminal to the supply's negative", &volts.plus_to_ground_v},
        {"minus_to_ground_v", "- terminal to the supply's negative", &volts.minus_to_ground_v},
        {"plus_to_minus_v", "+ terminal to - terminal", &volts.plus_to_minus_v},
    }};
    for (const Asked& asked : all) {
        const auto value =
            ask_reading(questions,
                        {load.name + "-" + asked.key,
                         fmt::format("Load \"{}\", recorder not connected, unit on, no signal, DC volts: {}",
                                     load.name, asked.words),
                         ""},
                        "V", -most_volts, most_volts, false, {});
        if (!value) return tl::unexpected<capture::Fault>(value.error());
        *asked.value = value->value_or(0.0);
    }
    return volts;
}

}  // namespace assay::cli
