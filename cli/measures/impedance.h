// Measure `impedance`: a driver's impedance against frequency through a jig, or from a file.
#pragma once

#include "capture/device/device.h"
#include "cli/measures/measure.h"

namespace assay::cli::impedance {

Measure measure();

}  // namespace assay::cli::impedance

namespace assay::cli {

/// Fields and checks that every test in the jig has.
std::vector<Field> jig_fields();
[[nodiscard]] capture::Result<void> check_jig_test(const Setup& setup);
std::optional<capture::Tone> next_jig_tone(const Setup& setup, std::span<const Take> takes);
/// What a bench without hands must put into its jig for this test; nothing where the test is none of the jig.
std::optional<capture::PlayRequest::InJig> in_jig_of(const Test& test);
/// Warnings for scales and resistors that state no uncertainty.
void warn_of_exact_jig(const Setup& setup, bool scales_matter, TestResult& result);

}  // namespace assay::cli
