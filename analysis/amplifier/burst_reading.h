// The inside of one burst of a tone: too short for a frequency of its own to be found, so that it is given.
#pragma once

#include <span>

#include "analysis/amplifier/steady_step.h"

namespace assay::analysis {

/// Volts, harmonics and THD of whole cycles, at a frequency known by the record's clock; harmonics up to the
/// bandwidth or half the rate count, by nominal order. Of several bursts of one level: the mean in power.
/// Noise, and with it THD+N, is not read.
StepReading read_bursts(std::span<const std::span<const double>> bursts, double rate_hz, double frequency_hz,
                        double nominal_hz, double bandwidth_hz);

}  // namespace assay::analysis
