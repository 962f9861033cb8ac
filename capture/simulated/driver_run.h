// One take of the impedance jig on the simulated bench: generator, series resistor, driver, and the two
// inputs at its nodes.
//
// Exact by frequency: the drive of each stretch is transformed as a whole, with silence after it for the
// response to die away in, multiplied by what the network makes of each frequency, and transformed back. The
// motion of a stretch sets its compliance (settings: compliance_rise_per_mm); all that is no step moves the
// cone too little to matter.
#pragma once

#include <complex>

#include "capture/simulated/bench_run.h"
#include "capture/simulated/driver.h"

namespace assay::capture {

/// Volts at the two inputs for one volt of the generator, mismatch of the inputs included.
struct JigNodes {
    std::complex<double> generator_side{};
    std::complex<double> driver_side{};
    std::complex<double> terminals{};  // of the driver itself
};

/// `bench.jig` must be there.
JigNodes jig_nodes(const Bench& bench, const PlayRequest::InJig& in_jig, double displacement_rms_m,
                   double omega);

[[nodiscard]] Result<void> simulate_driver_take(const Bench& bench, const SimulatedTake& take,
                                                const FrameSink& sink,
                                                const std::function<void(double done)>& progress,
                                                const std::atomic<bool>& stop);

}  // namespace assay::capture
