#include "capture/simulated/demo_units.h"

namespace assay::capture {

SimulatedBench healthy_demo_unit() {
    SimulatedBench bench;
    SimulatedAmplifier& amplifier = bench.amplifier;
    amplifier.gain_db = 26.0;
    amplifier.supply_v = demo_rated_supply_v;
    amplifier.supply_resistance_ohm = 0.03;
    amplifier.rail_v_per_supply_v = 1.98;
    amplifier.rail_resistance_ohm = 0.42;
    amplifier.saturation_v = 1.2;
    amplifier.saturation_resistance_ohm = 0.34;
    amplifier.softness = 0.02;
    amplifier.crossover_v = 0.002;
    amplifier.second_order = 1.5e-4;
    amplifier.third_order = 2.0e-4;
    amplifier.channel_gain_db = {0.0, -0.15};
    amplifier.hum_v = 3e-3;
    amplifier.hum_hz = 50.0;
    return bench;
}

SimulatedBench tired_demo_unit() {
    SimulatedBench bench = healthy_demo_unit();
    bench.amplifier.rail_scale = {1.0, 0.63};
    bench.amplifier.crossover_v = 0.02;
    return bench;
}

}  // namespace assay::capture
