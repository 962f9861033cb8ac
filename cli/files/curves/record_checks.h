// Checks that every curve kept as JSON needs.
#pragma once

#include <string>
#include <vector>

namespace assay::cli {

/// What is wrong with the name of a file's format; empty if nothing is.
std::string wrong_schema(const std::string& found, const std::string& wanted);

/// Every frequency is above 0 and above the one before; an empty list does.
bool frequencies_rise(const std::vector<double>& frequency_hz);

inline constexpr const char* frequencies_do_not_rise = "frequency_hz does not rise from above 0";

}  // namespace assay::cli
