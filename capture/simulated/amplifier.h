// A two-channel amplifier on a battery: physics of its own, computed sample by sample on a grid fine
// enough that clipping does not fold back into the audio band.
//
// Supply: the battery falls with supply_resistance_ohm; a boosting converter makes a positive and a
// negative rail of rail_v_per_supply_v each and draws their power, divided by its efficiency, from the
// battery; each rail falls further with rail_resistance_ohm. Both channels draw from the same rails
// (class B: the positive rail while the output pushes current out, the negative one while it pulls).
// The current that makes rails fall is averaged by the reservoirs (first order, rail_time_constant_s),
// so that rails sag with power and ripple a little with the tone.
//
// Channel: band limits (first order each) -> gain -> crosstalk and hum -> second- and third-order terms
// -> dead zone -> limits. Second order: H2 = second_order at half the unloaded rail, growing with the
// level; third likewise with its square. Dead zone: x - c x / sqrt(x^2 + c^2), which is x - c far from
// zero and has no gain at zero. Limit: rail less saturation_v, divided down by saturation_resistance_ohm
// and the load; approached by a parabola from (1 - softness) to (1 + softness) times the limit.
//
// A load between the two outputs counts as half of it to ground at each: exact while both halves clip
// together, which they do when driven in opposite phase.
#pragma once

#include <array>
#include <span>

#include "capture/simulated/settings.h"

namespace assay::capture {

struct AmplifierModel {
    AmplifierModel(const SimulatedAmplifier& settings, double rate_hz);

    /// Siemens that each channel's output sees to ground; 0 is no load.
    void connect(std::array<double, 2> conductance_s);
    /// Input volts to output volts, all four spans equally long. Noise is not in it: see noise_v.
    void process(std::array<std::span<const double>, 2> drive_v, std::array<std::span<double>, 2> output_v);

    /// The rails as they are now, both positive.
    std::array<double, 2> rails_v() const;
    double supply_current_a() const;

  private:
    struct Channel {
        double sign = 1.0;
        double gain = 1.0;
        double low_state = 0.0;   // of the low cut
        double high_state = 0.0;  // of the high cut
        double high_before = 0.0;
        double conductance_s = 0.0;
        double linear_part = 1.0;  // of the voltage that the output resistance leaves
        double limit_part = 1.0;   // the same at the limit
    };
    double band_limited(Channel& channel, double drive_v) const;
    double shaped(double volts) const;
    double limited(double volts, const std::array<double, 2>& rails, const Channel& channel) const;
    double next_hum();

    SimulatedAmplifier settings_;
    std::array<Channel, 2> channels_{};
    double low_step_ = 0.0;
    double high_gain_ = 0.0;
    double high_pole_ = 0.0;
    double rail_step_ = 0.0;
    double supply_per_rail_current_ = 0.0;
    double crosstalk_ = 0.0;
    double second_ = 0.0;  // per volt
    double third_ = 0.0;   // per volt squared
    double highest_shaped_v_ = 0.0;
    double crossover_square_ = 0.0;
    std::array<double, 2> hum_{};             // a turning pointer, volts peak
    std::array<double, 2> hum_turn_{};        // its turn per sample
    std::array<double, 2> mean_current_a_{};  // out of the positive, into the negative rail
};

}  // namespace assay::capture
