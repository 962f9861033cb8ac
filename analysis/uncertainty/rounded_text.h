// A number as a sentence holds it: rounded to so many digits, never with a power of ten from 1e-4 up.
#pragma once

#include <string>

namespace assay::analysis {

/// "0.0123", "41.2", "12300": `digits` significant ones, without zeros at the end of a fraction. Below 1e-4
/// the shorter form with an exponent.
std::string rounded_text(double value, int digits);

}  // namespace assay::analysis
