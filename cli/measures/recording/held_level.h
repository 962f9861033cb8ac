// What must hold still while a test of one level lasts: the level itself, and the recorder's freedom from its
// own distortion at it.
#pragma once

#include <span>
#include <string>

#include "analysis/amplifier/noise.h"
#include "capture/bench.h"
#include "cli/measures/result.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

/// Load resistors and rails move a level that is held by less, a thermal protection or a hand by more; beyond
/// the second it has collapsed. Common practice, no source.
inline constexpr double held_within_db = 0.5;
inline constexpr double collapse_db = 20.0;

/// A level that has moved by so much against its first reading, in words.
std::string moved_words(double moved_db);

/// Words for the first of some volts, read of one level again and again, that is more than 0.5 dB off the
/// first; empty where it held. Load resistors and rails move a level by less (common practice, no source).
std::string level_moved(std::span<const double> volts);

/// Words where the noise is another one from some moment on; a knock or a crackle that passes is none. Mark:
/// twice the power on one side, its lower quartile of stretches against the other's median; common practice,
/// no source.
std::string noise_moved(const analysis::NoiseReading& reading);

/// A flat top at one level may be the unit's or the recorder's: a warning, unless the inputs are known to be
/// clean up to it (clean_up_to_dbfs).
void warn_of_flat_top(const capture::Bench& bench, const capture::Load& load,
                      const std::vector<LoadStep>& steps, Numbers& numbers);

/// An input that peaked above what it is known to be clean up to; nothing where that is not stated.
void warn_if_not_clean(const capture::Input& input, double peak_dbfs, Numbers& numbers);

}  // namespace assay::cli
