// Load resistors that warm up: R = R_cold (1 + tempco T), T the rise over ambient, which goes to
// load_k_per_w times the power with load_time_constant_s.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "capture/bench.h"
#include "capture/simulated/wiring.h"

namespace assay::capture {

struct WarmingLoads {
    WarmingLoads(const Bench& bench, const std::vector<WiredLoad>& loads);

    /// Siemens to ground at each amplifier channel, all loads together; half of a bridged load each.
    std::array<double, 2> conductance_s() const;
    /// `output_v`: both channels over `seconds`, on a grid much finer than the tone.
    void warm(std::array<std::span<const double>, 2> output_v, double seconds);
    double rise_k(std::size_t place) const { return loads_[place].rise_k; }

  private:
    struct Resistor {
        WiredLoad wired{};
        double cold_ohm = 0.0;
        double tempco_per_k = 0.0;
        double rise_k = 0.0;
        double ohm() const { return cold_ohm * (1.0 + tempco_per_k * rise_k); }
    };
    std::vector<Resistor> loads_{};
    double k_per_w_ = 0.0;
    double time_constant_s_ = 1.0;
};

}  // namespace assay::capture
