// Rests by the heat of a load resistor. Power above the rating fills a store, power below it drains the
// store; a tone may start when what it adds will still fit.
//
// The store holds what ten seconds at twice the rating add (10 s times the rating). Wire-wound power
// resistors stand five times their rating for five seconds, which is twice that (common practice, no source;
// look at the part's own sheet). A rating without heatsink counts where the bench gives one.
#pragma once

#include <cstddef>
#include <optional>

#include "capture/bench.h"
#include "capture/fault.h"
#include "capture/recording.h"

namespace assay::capture {

struct TakeHeat {
    double energy_ws = 0.0;
    double seconds = 0.0;
    double highest_w = 0.0;  // over a twentieth of a second
};

/// What a recording put into a load: the square of the volts at its ends (less their mean) over its
/// resistance.
[[nodiscard]] Result<TakeHeat> heat_of(const Recording& recording, const Bench& bench, const Load& load);

class HeatBudget {
  public:
    explicit HeatBudget(const Load& load);

    /// Nothing where no rating is known: then there is no budget.
    std::optional<double> rating_w() const { return rating_w_; }
    void took(const TakeHeat& heat);
    void rested(double seconds);
    /// Seconds to rest before a tone of so much energy; infinite where it does not fit even from cold.
    double rest_before_s(double energy_ws, double seconds) const;
    double stored_ws() const { return stored_ws_; }

    static constexpr double store_s = 10.0;

  private:
    std::optional<double> rating_w_{};
    double stored_ws_ = 0.0;
};

}  // namespace assay::capture
