// From a reading in volts to quantities: which doubts of the bench each number carries.
#pragma once

#include <string>

#include "analysis/uncertainty/quantity.h"
#include "capture/bench.h"

namespace assay::cli {

/// A voltage at a load. `plus_share` is the part of it that the plus input sees (1 when single-ended); the
/// rest is the minus input's, so that a doubt which both share adds and independent ones add in squares.
analysis::Quantity load_voltage(const capture::Bench& bench, const capture::Load& load, double voltage_v,
                                double plus_share);

/// Voltage squared over the load's resistance, W.
analysis::Quantity load_power(const capture::Load& load, const analysis::Quantity& voltage);

/// The same at a frequency where the load's inductance may count: Re(V^2 / conj Z) = V^2 R / (R^2 + (w L)^2).
analysis::Quantity power_at(const capture::Load& load, const analysis::Quantity& voltage,
                            double frequency_hz);

/// Adds an independent contribution, in the unit of the quantity.
void add_doubt(analysis::Quantity& quantity, const std::string& source_id, double standard_uncertainty);

/// Frequencies are those of the tone; its player's crystal is off by up to 50 ppm (common practice, no
/// source), taken as a rectangular distribution. Between two results of the same player it cancels.
void add_clock_doubt(analysis::Quantity& frequency_hz);

}  // namespace assay::cli
