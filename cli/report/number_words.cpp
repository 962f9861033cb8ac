#include "cli/report/number_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>

#include "cli/files/plain_text.h"
#include "cli/measures/plain_number.h"

namespace assay::cli {
namespace {

// Beyond these a plain decimal number would be a row of zeros.
constexpr double largest_plain = 1e9;
constexpr double smallest_plain = 1e-9;

// No printed frequency or bare ratio (a Q) claims more than this: the crystal that times the samples is good
// to some 50 ppm, and a part changes by more from one day to the next (common practice, no source).
// session.json keeps all digits.
constexpr double finest_share = 1e-4;
// Nor does a level: a thousandth of a per cent of volts (common practice, no source).
constexpr double finest_db = 1e-4;

bool is_plain(double magnitude) {
    return magnitude == 0.0 || (magnitude >= smallest_plain && magnitude < largest_plain);
}

/// Decimal exponent after rounding to `digits` significant digits: 0.0996 to two digits is 0.10, exponent -1.
int rounded_exponent(double magnitude, int digits) {
    const std::string text = fmt::format("{:.{}e}", magnitude, digits - 1);
    return std::atoi(text.c_str() + text.find('e') + 1);
}

/// The value to `decimals` places; negative ones round to tens and hundreds.
std::string to_place(double value, int decimals) {
    if (decimals < 0) {
        const double step = std::pow(10.0, -decimals);
        value = std::round(value / step) * step;
        decimals = 0;
    }
    std::string text = fmt::format("{:.{}f}", value, decimals);
    const bool zero = text.find_first_of("123456789") == std::string::npos;
    if (zero && text.front() == '-') text.erase(0, 1);
    return text;
}

std::string significant(double value, int digits) {
    if (value == 0.0) return "0";
    if (!is_plain(std::abs(value))) return fmt::format("{:.{}e}", value, digits - 1);
    return to_place(value, digits - 1 - rounded_exponent(std::abs(value), digits));
}

struct Scale {
    double factor = 1.0;
    const char* prefix = "";
};

Scale scale_for(double magnitude, const std::string& unit) {
    const bool scalable = unit == "V" || unit == "W" || unit == "A";
    if (!scalable || magnitude >= 0.1 || magnitude == 0.0) return {};
    return magnitude >= 1e-4 ? Scale{1e3, "m"} : Scale{1e6, "µ"};
}

std::string with_unit(const std::string& number, const std::string& unit) {
    return unit.empty() ? number : number + ' ' + unit;
}

}  // namespace

std::string printed_unit(const std::string& unit) {
    if (unit == "ohm") return "Ω";
    if (unit == "deg") return "°";
    if (unit == "degC" || unit == "C") return "°C";
    if (unit == "cm2") return "cm²";
    if (unit == "T m") return "T·m";
    return visible_text(unit, 20);
}

RoundedValue rounded(const analysis::Quantity& quantity) {
    const double uncertainty = quantity.expanded_uncertainty();
    const double magnitude = std::max(std::abs(quantity.value), uncertainty);
    const Scale scale = scale_for(magnitude, quantity.unit);
    const double value = quantity.value * scale.factor;
    const double scaled_uncertainty = uncertainty * scale.factor;
    RoundedValue text;
    text.unit = scale.prefix + printed_unit(quantity.unit);
    if (!(scaled_uncertainty > 0.0)) {
        text.value = significant(value, 4);
        return text;
    }
    if (!is_plain(magnitude * scale.factor) || !is_plain(scaled_uncertainty)) {
        text.value = significant(value, 4);
        text.uncertainty = significant(scaled_uncertainty, 2);
        return text;
    }
    const int decimals = 1 - rounded_exponent(scaled_uncertainty, 2);
    const bool timed = quantity.unit == "Hz" || quantity.unit.empty();
    const double finest = quantity.unit == "dB" ? finest_db : timed ? finest_share * std::abs(value) : 0.0;
    if (scaled_uncertainty < finest) {
        // One unit of the last digit that is printed stands for everything smaller.
        const int last = -static_cast<int>(std::ceil(std::log10(finest)));
        text.value = to_place(value, last);
        text.uncertainty = to_place(std::pow(10.0, -last), last);
        return text;
    }
    text.value = to_place(value, decimals);
    text.uncertainty = to_place(scaled_uncertainty, decimals);
    return text;
}

std::string value_text(const analysis::Quantity& quantity) {
    const RoundedValue text = rounded(quantity);
    if (text.uncertainty.empty()) return with_unit(text.value, text.unit) + " (no uncertainty stated)";
    return with_unit(text.value + " ± " + text.uncertainty, text.unit);
}

std::string stated_text(double value, const std::string& unit) {
    if (std::isinf(value)) return "none";
    // As it was stated, but for what a person would not write: 3e-05 V is 30 µV.
    constexpr double smallest_stated = 1e-3;
    const Scale scale = std::abs(value) < smallest_stated ? scale_for(std::abs(value), unit) : Scale{};
    return with_unit(plain_number(value * scale.factor, 6), scale.prefix + printed_unit(unit));
}

std::string limit_text(const analysis::Tolerance& limit, const std::string& unit) {
    if (limit.at_least && limit.at_most) {
        return "from " + stated_text(*limit.at_least, {}) + " to " + stated_text(*limit.at_most, unit);
    }
    if (limit.at_least) return "at least " + stated_text(*limit.at_least, unit);
    if (limit.at_most) return "at most " + stated_text(*limit.at_most, unit);
    return "no limit stated";
}

std::string two_digits(double value) {
    return significant(value, 2);
}

double to_digits(double value, int digits) {
    if (!std::isfinite(value)) return value;
    const std::string text = fmt::format("{:.{}e}", value, digits - 1);
    double nearest = value;  // kept where the rounded one is larger than any double
    std::from_chars(text.data(), text.data() + text.size(), nearest);
    return nearest;
}

std::string relative_uncertainty_text(const analysis::Quantity& quantity) {
    const double uncertainty = quantity.expanded_uncertainty();
    const bool own_unit =
        quantity.unit == "dB" || quantity.unit == "%" || quantity.unit == "deg" || quantity.value == 0.0;
    if (own_unit) {
        const RoundedValue text = rounded(quantity);
        return "±" + with_unit(text.uncertainty, text.unit);
    }
    return "±" + two_digits(100.0 * uncertainty / std::abs(quantity.value)) + " %";
}

}  // namespace assay::cli
