// The sound card of the simulated bench. Play side: sample values to volts, the interpolation filter
// of a converter. Record side, one for each input: divider, AC coupling, the ceiling of the input
// stage, the converter's filter, its own clock, noise, quantisation.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "capture/simulated/random.h"
#include "capture/simulated/rate_change.h"
#include "capture/simulated/settings.h"

namespace assay::capture {

/// Steps by two from the card's rate to the grid of the amplifier: 1.4 MHz or more, at which the
/// harmonics of a hard clip that fold back stay below -110 dB re the fundamental.
int fine_grid_stages(double card_rate_hz);

/// Sample values of the card's rate to the fine grid.
struct PlaySide {
    explicit PlaySide(int stages);
    void process(std::span<const double> in, std::vector<double>& out);
    /// Index on the fine grid at which the first sample that went in stands.
    double first_index() const;

  private:
    std::vector<DoubleRate> stages_{};
    std::vector<double> other_{};
};

/// One input, up to twice the card's rate: divider, coupling, ceiling, the first part of the filter.
struct RecordSide {
    /// `units_per_volt`: sample value for one volt at the probe tip, sign included.
    RecordSide(const SimulatedCard& card, double units_per_volt, int stages, double card_rate_hz);
    void process(std::span<const double> volts, std::vector<double>& out);
    /// Index at twice the card's rate where a given index on the fine grid stands.
    double index_of(double fine_index) const;

  private:
    double units_per_volt_ = 1.0;
    double coupling_step_ = 0.0;
    double coupling_state_ = 0.0;
    double ceiling_ = 1.0;
    std::vector<HalveRate> stages_{};
    std::vector<double> other_{};
};

/// Rounds to the card's bits and holds at full scale.
struct Quantiser {
    explicit Quantiser(int bits);
    float operator()(double value) const;

  private:
    double steps_ = 0.0;  // of one unit
};

/// RMS in sample values of the card's noise.
double card_noise(const SimulatedCard& card);

}  // namespace assay::capture
