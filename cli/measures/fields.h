// Fields of a test with their defaults, and levels in one language.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cli/measures/measure.h"

namespace assay::cli {

/// The test's own value, or the default that stands in the field's table (the measure's, then the common
/// ones). The field must exist and have one.
double field_number(const Test& test, const std::string& field);
std::vector<double> field_numbers(const Test& test, const std::string& field);
std::string field_text(const Test& test, const std::string& field);

/// Outputs that the test plays on: every output that reaches one of its loads.
std::vector<std::size_t> outputs_of(const Setup& setup);

/// Highest level that all outputs of the test allow, dBFS.
double limit_dbfs(const Setup& setup);

/// The test's level as dBFS of a sine: drive_dbfs, drive_volts, or the default of -20 dBFS. Nothing for
/// power_w.
std::optional<double> drive_dbfs(const Setup& setup);

/// Common checks of a tone with one level: against the bench's limits, frequency against rate and bandwidth.
capture::Result<void> check_level(const Setup& setup);
capture::Result<void> check_frequency(const Setup& setup);

/// Tones of a test lie no higher than this share of the sample rate.
inline constexpr double highest_share_of_rate = 0.45;

/// `frequencies_hz` as asked for, by rising frequency, 1 kHz always among them; of the defaults only those
/// that the sample rate allows.
std::vector<double> frequencies_of(const Setup& setup);

/// Meter readings of the job, into the conditions.
void add_readings(const Test& test, TestResult& result);

/// RMS volts at the card's output for a full-scale sine, if all outputs of the load state the same scale.
std::optional<double> output_volts_at_full_scale_sine(const Setup& setup, const capture::Load& load);

}  // namespace assay::cli
