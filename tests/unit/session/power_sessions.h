// Sessions of tests of power, made by hand: each figure with the causes of doubt that its tests share.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "support/hand_made_sessions.h"

namespace assay::cli {

constexpr double input_doubt = 0.012;  // of power
constexpr double meter_doubt = 0.006;  // of power, shared by both inputs
constexpr double ohm_doubt = 0.009;
constexpr double noise_doubt = 0.0005;

/// Watts into a load: its input's scale, the meter behind both scales, the load, and noise of the test's own.
inline analysis::Quantity watts(double value, const std::string& test, const std::string& load,
                                const std::string& input) {
    return {value,
            "W",
            {{"input:" + input + ":scale", input_doubt * value},
             {"meter:bench-meter", meter_doubt * value},
             {"load:" + load + ":resistance", -ohm_doubt * value},
             {"test:" + test + ":" + load + ":noise", noise_doubt * value}}};
}

inline capture::Load load(const std::string& name, double ohm, std::size_t plus, bool bridged = false) {
    capture::Load made;
    made.name = name;
    made.resistance_ohm = ohm;
    made.resistance_doubts = {{"load:" + name + ":resistance", ohm_doubt}};
    made.driven_by = {0};
    made.plus = plus;
    if (bridged) made.minus = 1;
    return made;
}

inline Session empty_session() {
    Session session = hand_made::amplifier();
    session.tests.clear();
    session.claims.clear();
    session.unit.minimum_load_ohm.reset();
    session.unit.minimum_bridged_load_ohm.reset();
    session.bench.loads = {load("a4", 4.0, 0),
                           load("b4", 4.0, 1),
                           load("a2", 2.0, 0),
                           load("a8", 8.0, 0),
                           load("bridge4", 4.0, 0, true),
                           load("bridge8", 8.0, 0, true)};
    return session;
}

using Watts = std::vector<std::pair<std::string, double>>;

inline TestRecord& add_test(Session& session, const std::string& id, const Watts& loads, double idle_v = 14.4,
                            double loaded_v = 13.9) {
    TestRecord record;
    record.id = id;
    record.result.measure = "clipping-power";
    record.result.conditions = {{"frequency_hz", 997.0},
                                {"limit_on", std::string("thd+n")},
                                {"supply_idle_v", idle_v},
                                {"supply_loaded_v", loaded_v}};
    for (const auto& [name, value] : loads) {
        Numbers numbers;
        numbers.add("power_at_1_percent_w",
                    watts(value, id, name, name.starts_with("b4") ? "probe-b" : "probe-a"));
        record.result.loads.emplace_back(name, std::move(numbers));
    }
    session.tests.push_back(std::move(record));
    return session.tests.back();
}

}  // namespace assay::cli
