// What the calibrations of a load and of the series resistor share: the part of the generator's volts that
// the second input of the jig sees, freed of the inputs' difference by a reading with both on one node.
#pragma once

#include <complex>

#include "cli/commands/calibrate/calibrating.h"

namespace assay::cli {

struct JigShare {
    std::complex<double> share{};  // second input's volts re the first's
    double scatter = 0.0;          // relative standard uncertainty
    double frequency_hz = 0.0;
};

/// Asks a person at the bench for `what` under a key of the answers file; a no stops.
[[nodiscard]] capture::Result<void> wait_for(CalibrationBench& bench, const char* key,
                                             const std::string& what);

/// Both inputs on one node first (key `on-one-node`), then with `what` done (its key); the tone is silent
/// after. Faults: no tone, overload, a jig that is open, shorted or has its inputs swapped.
[[nodiscard]] capture::Result<JigShare> share_in_jig(CalibrationBench& bench, const char* key,
                                                     const std::string& what);

}  // namespace assay::cli
