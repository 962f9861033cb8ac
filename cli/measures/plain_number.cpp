#include "cli/measures/plain_number.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace assay::cli {

std::string plain_number(double value, int digits) {
    constexpr double smallest = 1e-12;
    constexpr double largest = 1e12;
    const double magnitude = std::abs(value);
    if (magnitude == 0.0) return "0";
    if (!(magnitude >= smallest && magnitude < largest)) return fmt::format("{:.{}g}", value, digits);
    // Rounded first: 0.0996 to two digits is 0.10.
    const std::string text = fmt::format("{:.{}e}", value, digits - 1);
    const int exponent = std::atoi(text.c_str() + text.find('e') + 1);
    std::string plain =
        fmt::format("{:.{}f}", std::strtod(text.c_str(), nullptr), std::max(0, digits - 1 - exponent));
    if (plain.find('.') != std::string::npos) {
        plain.erase(plain.find_last_not_of('0') + 1);
        if (plain.back() == '.') plain.pop_back();
    }
    return plain;
}

std::string plain_volts(double volts, int digits) {
    constexpr double least_volts = 0.1;
    constexpr double least_millivolts = 1e-4;
    const double magnitude = std::abs(volts);
    if (magnitude == 0.0 || magnitude >= least_volts) return plain_number(volts, digits) + " V";
    if (magnitude >= least_millivolts) return plain_number(1e3 * volts, digits) + " mV";
    return plain_number(1e6 * volts, digits) + " µV";
}

}  // namespace assay::cli
