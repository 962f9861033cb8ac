// Numbers as a person reads them: never more digits than mean something, never without a unit.
#pragma once

#include <string>

#include "analysis/uncertainty/conformity.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::cli {

/// The expanded uncertainty with two significant digits, the value to the same decimal place (JCGM 100:2008,
/// 7.2.6). Without uncertainty: four digits, and `uncertainty` is empty. Small volts, amperes and watts are
/// given in thousandths or millionths. The uncertainty of a frequency or a bare ratio is printed as at least
/// one unit of the first decimal place that is no finer than a ten-thousandth of it.
struct RoundedValue {
    std::string value{};
    std::string uncertainty{};
    std::string unit{};  // "W", "mV", "Ω", "%"; empty for a bare ratio
};
RoundedValue rounded(const analysis::Quantity& quantity);

/// The value with its uncertainty and unit: "46.1 ± 1.4 W"; says so where no uncertainty is stated.
std::string value_text(const analysis::Quantity& quantity);

/// A stated number (not a measured one), as it was stated: up to six digits, with its unit.
std::string stated_text(double value, const std::string& unit);

/// "at least 22 W", "at most 0.1 %", "from 3.8 to 4.2 Ω".
std::string limit_text(const analysis::Tolerance& limit, const std::string& unit);

/// A unit as it is printed: "ohm" becomes "Ω".
std::string printed_unit(const std::string& unit);

/// "±3.0 %" of the value for watts, volts and the like; in its own unit for decibels and percentages.
std::string relative_uncertainty_text(const analysis::Quantity& quantity);

/// Two significant digits: "81", "0.42", "1300".
std::string two_digits(double value);

/// The number that is nearest to the value with so many significant digits, whatever the value.
double to_digits(double value, int digits);

}  // namespace assay::cli
