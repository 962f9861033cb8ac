// What a reader of an impedance curve should be told: level, noise, ripples, second peaks.
#pragma once

#include <string>
#include <vector>

#include "analysis/driver/curve_reading.h"
#include "cli/measures/jig/impedance_reading.h"
#include "cli/measures/result.h"

namespace assay::cli {

/// Warnings, and the conditions of the half-level reading. The quantities must stand already.
void add_remarks(const ImpedanceReading& reading, const std::vector<analysis::CurvePeak>& peaks,
                 const std::string& noise_source, TestResult& result);

}  // namespace assay::cli
