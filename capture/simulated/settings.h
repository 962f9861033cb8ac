// What the simulated bench is made of: an amplifier, its loads, a sound card. Invented units, for
// development and for the demo; the simulation proves nothing about the analysis.
#pragma once

#include <array>
#include <cstdint>

namespace assay::capture {

struct SimulatedAmplifier {
    double gain_db = 30.0;                     // load volts re input volts, small signal
    double supply_v = 14.4;                    // at no load
    double supply_resistance_ohm = 0.02;       // battery, cable, fuse
    double rail_v_per_supply_v = 1.75;         // each rail (plus or minus) per volt of supply: a boosting converter
    double rail_resistance_ohm = 0.25;         // of the converter and output stage, per rail
    double saturation_v = 1.5;                 // lost in each output stage
    std::array<double, 2> rail_scale{1.0, 1.0};// positive, negative rail: an uneven pair
    double softness = 0.02;                    // 0 hard clip .. 1 very soft
    double crossover_v = 0.0;                  // half width of the dead zone at the output
    double second_order = 0.0;                 // H2 re fundamental at half the rail, e.g. 1e-4
    double third_order = 0.0;                  // H3 re fundamental at half the rail
    double low_cut_hz = 8.0;
    double high_cut_hz = 60000.0;
    double noise_v = 60e-6;                    // at the output, RMS over 20 Hz..20 kHz
    double hum_v = 0.0;                        // at the output, RMS
    double hum_hz = 50.0;
    std::array<double, 2> channel_gain_db{0.0, 0.0};  // on top of gain_db
    double crosstalk_db = -70.0;               // of one channel in the other
    bool second_channel_inverted = false;      // for bridging
};

struct SimulatedCard {
    double full_scale_in_v = 1.9;     // peak volts at the card's input for sample value 1.0
    double full_scale_out_v = 2.1;    // peak volts at its output for sample value 1.0
    double coupling_hz = 4.0;         // AC coupling of the inputs
    double ceiling_dbfs = 0.0;        // where the input stage flattens
    int bits = 24;
    double noise_dbfs = -108.0;       // RMS, of full-scale sine, over half the rate
    double clock_ppm = 0.0;           // record clock against play clock
    double delay_s = 0.012;           // play to record
};

struct SimulatedBench {
    SimulatedAmplifier amplifier{};
    SimulatedCard card{};
    double ambient_c = 22.0;
    double load_tempco_ppm_per_k = 80.0;
    double load_k_per_w = 1.0;        // steady temperature rise of a load resistor per watt
    double load_time_constant_s = 60.0;
    std::uint64_t seed = 1;
};

}  // namespace assay::capture
