// A number as a person writes it: 0.000017, where others write 1.7e-05.
#pragma once

#include <string>

namespace assay::cli {

/// Rounded to so many significant digits, without a power of ten and without idle zeros at the end: 0.000017,
/// 250, 3. For finite values from 1e-12 to 1e12; others come as printf's %g has them.
std::string plain_number(double value, int digits);

/// Volts with the prefix that a person would use: "31 µV", "4.2 mV", "12.1 V".
std::string plain_volts(double volts, int digits = 3);

}  // namespace assay::cli
