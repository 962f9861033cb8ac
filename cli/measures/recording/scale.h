// From a reading in volts to quantities: which doubts of the bench each number carries.
#pragma once

#include <numbers>
#include <string>

#include "analysis/amplifier/steady_step.h"
#include "analysis/uncertainty/quantity.h"
#include "capture/bench.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// A voltage at a load. `plus_share` is the part of it that the plus input sees (1 when single-ended); the
/// rest is the minus input's, so that a doubt which both share adds and independent ones add in squares.
analysis::Quantity load_voltage(const capture::Bench& bench, const capture::Load& load, double voltage_v,
                                double plus_share);

/// The same of a voltage at one frequency (of noise: where most of it lies). An input's scale was found at
/// calibrated_at_hz; what its response does between there and here is doubt "input:NAME:response".
analysis::Quantity load_voltage(const Setup& setup, const capture::Load& load, double voltage_v,
                                double plus_share, double frequency_hz);

/// What volts by the input's scale must be multiplied by at this frequency; infinity stands for volts from
/// which the coupling is undone already. First-order high_pass_hz, scale found at calibrated_at_hz (left out:
/// far above the corner). 1 where no corner is stated.
double scale_correction(const capture::Input& input, double frequency_hz);

/// Volts of a step as read, brought to the scale at its own frequency. Peaks are undone already
/// (StepOptions).
void refer_to_scale(const capture::Input& input, analysis::StepReading& reading);

/// Relative standard uncertainty of an input's scale at a frequency other than calibrated_at_hz: by its
/// loopback where it has one, less the stated corner; otherwise an ordinary card's limits, a high-pass of 10
/// Hz and a low-pass of 100 kHz, each first order (common practice, no source), taken as rectangular (JCGM
/// 100, 4.3.7). A loopback holds the player's response too, so it is a limit as well and no correction. 0
/// where calibrated_at_hz is not stated.
double response_doubt(const Setup& setup, const capture::Input& input, double frequency_hz);

/// What a load takes for each square volt: R / (R^2 + (w L)^2), W/V^2. Harmonics are counted at the tone's
/// frequency: where they are a few per cent, the load's inductance is far from mattering to their power.
double conductance_at(const capture::Load& load, double frequency_hz);

/// Power of a voltage across the load, W: Re(V^2 / conj Z) = V^2 R / (R^2 + (w L)^2).
analysis::Quantity power_at(const capture::Load& load, const analysis::Quantity& voltage,
                            double frequency_hz);

/// Decibels for a small relative change of an amplitude.
inline constexpr double db_per_relative = 20.0 / std::numbers::ln10;

/// Warns of a scale or resistor, named by `what`, that states no uncertainty.
void warn_of_exact(const std::string& what, Numbers& numbers);

/// Adds an independent contribution, in the unit of the quantity.
void add_doubt(analysis::Quantity& quantity, const std::string& source_id, double standard_uncertainty);

/// Frequencies are those of the tone; its player's crystal is off by up to 50 ppm (common practice, no
/// source), taken as a rectangular distribution. Between two results of the same player it cancels.
void add_clock_doubt(analysis::Quantity& frequency_hz, const std::string& source_id = "sound:clock");

}  // namespace assay::cli
