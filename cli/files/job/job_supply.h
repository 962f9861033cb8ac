// Tests at several supply voltages, and the meter readings that a test asks for: checked and spread when a
// job is read.
#pragma once

#include <string>
#include <vector>

#include "cli/files/job/job_reader.h"

namespace assay::cli {

/// Readings that a test asks for: known ones, not stated besides, with a steady tone to read the loaded ones
/// at.
void check_asked(RawTest& raw);
/// A test at several supply voltages becomes one test each; `power-4-ohm` at 14.4 V is `power-4-ohm-14_4v`.
std::string id_at_supply(const std::string& id, double supply_v);
std::vector<RawTest> spread_over_supplies(std::vector<RawTest> tests);
/// A claim for a supply that names such a test means the one at the voltage nearest to its own, within 5 %.
void choose_supply(RawClaim& raw, const std::vector<RawTest>& tests);

}  // namespace assay::cli
