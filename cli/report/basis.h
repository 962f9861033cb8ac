// The conditions under which a figure holds. A power figure without them says nothing, so none is ever shown
// without this line.
#pragma once

#include <optional>
#include <string>

#include "capture/find_load.h"
#include "cli/files/session/session.h"

namespace assay::cli {

/// "13.9 V supply (14.4 V idle), 4.03 Ω, 997 Hz, 1 % THD, 2 channels driven, continuous sine". What was not
/// stated is said to be so. `load` empty: the whole test.
std::string basis_text(const Session& session, const TestRecord& record, const std::string& load,
                       const std::string& quantity);

/// A figure in watts, or one that is made from watts alone.
bool is_power(const analysis::Quantity& quantity);

/// A total over one load only repeats that load's figure.
bool is_repeated_total(const TestResult& result, const std::string& quantity);

std::optional<double> number_condition(const TestResult& result, const std::string& name);
std::string text_condition(const TestResult& result, const std::string& name, const std::string& otherwise);

/// Frequency of the test tone: the condition, or the steps of the tone itself.
std::optional<double> tone_frequency_hz(const TestRecord& record);

}  // namespace assay::cli
