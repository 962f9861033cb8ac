// What the simulated bench is made of: an amplifier, its loads, a sound card. Invented units, for
// development and for the demo; the simulation proves nothing about the analysis. Members stand in
// the bench file under their own names (tables of settings_keys.h); what the physics are is told
// where they are computed (amplifier.h, card.h).
#pragma once

#include <array>
#include <cstdint>

namespace assay::capture {

struct SimulatedAmplifier {
    double gain_db = 30.0;                // load volts re input volts, small signal, before loading
    double supply_v = 14.4;               // at no load
    double supply_resistance_ohm = 0.02;  // battery, cable, fuse
    double idle_current_a = 0.8;          // drawn from the supply at rest
    double converter_efficiency = 0.88;   // of the boosting converter
    double rail_v_per_supply_v = 1.75;    // each rail (plus or minus) per volt of supply
    double rail_resistance_ohm = 0.25;    // of the converter, per rail; shared by both channels
    double rail_time_constant_s = 0.02;   // of the reservoirs; short ones let the rails ripple with the tone
    std::array<double, 2> rail_scale{1.0, 1.0};  // positive, negative rail: an uneven pair
    double saturation_v = 1.5;                   // lost in each output stage at its limit, at no current
    double saturation_resistance_ohm = 0.15;     // and per ampere of its own current
    double output_resistance_ohm = 0.03;         // below its limit, feedback included
    double softness = 0.02;        // half width of the knee re the limit: 0 hard clip .. 1 very soft
    double crossover_v = 0.0;      // half width of the dead zone at the output
    double second_order = 0.0;     // H2 re fundamental at half the rail, e.g. 1e-4
    double third_order = 0.0;      // H3 re fundamental at half the rail
    double low_cut_hz = 8.0;       // first order, -3 dB, before the gain
    double high_cut_hz = 60000.0;  // first order, -3 dB, before the gain
    double noise_v = 60e-6;        // at the output, RMS over 20 Hz..20 kHz
    double hum_v = 0.0;            // at the output, RMS
    double hum_hz = 50.0;
    std::array<double, 2> channel_gain_db{0.0, 0.0};  // on top of gain_db
    double crosstalk_db = -70.0;                      // of one channel in the other
    bool second_channel_inverted = false;             // for bridging
};

struct SimulatedCard {
    double full_scale_in_v =
        0.0;  // true peak volts at the card's input for sample value 1.0; 0: as the bench states
    double full_scale_out_v = 0.0;  // the same at its output; 0: as the bench states, 2.0 V where it does not
    double coupling_hz = 4.0;       // AC coupling of the inputs, first order, -3 dB
    double ceiling_dbfs = 0.0;      // where the input stage flattens
    int bits = 24;
    double noise_dbfs = -108.0;  // RMS re a full-scale sine's RMS, over half the rate
    double clock_ppm = 0.0;      // record clock against play clock: positive counts more samples
    double delay_s = 0.012;      // play to record
};

struct SimulatedBench {
    SimulatedAmplifier amplifier{};
    SimulatedCard card{};
    double ambient_c = 22.0;              // the temperature at which Load::resistance_ohm holds
    double load_tempco_ppm_per_k = 80.0;  // where the load itself states none
    double load_k_per_w = 1.0;            // steady temperature rise of a load resistor per watt
    double load_time_constant_s = 60.0;
    std::uint64_t seed = 1;
};

}  // namespace assay::capture
