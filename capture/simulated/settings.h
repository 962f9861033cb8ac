// What the simulated bench is made of: an amplifier, its loads, a driver in its jig, a sound card. Invented
// units, for development and for the demo; the simulation proves nothing about the analysis. Members stand in
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

/// An invented 16 cm woofer.
struct SimulatedDriver {
    double re_ohm = 5.8;
    double le_mh = 0.0;  // plain coil
    double l2_mh = 0.0;  // with r2_ohm across it
    double r2_ohm = 0.0;
    double coil_k = 0.010;  // fractional coil: coil_k (j w)^coil_n ohm
    double coil_n = 0.68;
    double mms_g = 14.2;         // air load included
    double cms_mm_per_n = 0.95;  // at resonance, at rest
    double rms_kg_per_s = 1.05;
    double bl_tm = 6.4;
    double sd_cm2 = 132.0;
    double creep_lambda = 0.06;           // part of the compliance gained a decade downwards; 0: no creep
    double compliance_rise_per_mm = 0.0;  // part of the compliance gained a millimetre RMS
    double leak_diameter_mm = 0.0;        // of a hole in the test box; 0: tight
    double pressure_hpa = 1013.25;
    double added_mass_scale = 1.0;  // true over stated added mass; 0: it fell off
    double test_box_scale = 1.0;    // true over stated volume of the test box
};

/// What stands around the driver. Zero or less: as the bench file states it.
struct SimulatedJig {
    double generator_gain_db = 0.0;  // of an amplifier between the card's output and the jig
    double generator_resistance_ohm = 0.5;
    double series_ohm = 0.0;
    double lead_ohm = -1.0;             // in series with the driver
    double input_resistance_ohm = 0.0;  // of the driver-side input; none where the file states none
    double mismatch_db = 0.0;           // driver-side input against the other
    double mismatch_delay_us = 0.0;     // driver-side input behind the other
    double hum_v = 0.0;                 // picked up by the driver side, RMS; half of it by the other
    double hum_hz = 50.0;               // with a third of it at 3 times, a tenth at 5 times
    double noise_v = 0.0;               // of each input, RMS, white up to half the rate
    bool inputs_swapped = false;
    bool driver_open = false;
    bool driver_shorted = false;
};

struct SimulatedBench {
    SimulatedAmplifier amplifier{};
    SimulatedCard card{};
    SimulatedDriver driver{};
    SimulatedJig jig{};
    double ambient_c = 22.0;              // the temperature at which Load::resistance_ohm holds
    double load_tempco_ppm_per_k = 80.0;  // where the load itself states none
    double load_k_per_w = 1.0;            // steady temperature rise of a load resistor per watt
    double load_time_constant_s = 60.0;
    std::uint64_t seed = 1;
};

}  // namespace assay::capture
