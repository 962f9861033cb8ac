// A measured value with its unit and with what makes it uncertain, kept by the identity of each
// source: errors that two numbers share cancel in their difference and add in their sum.
//
// Source: JCGM 100:2008 (GUM), 5.1 and 5.2: each contribution is the signed product of sensitivity
// and standard uncertainty of one independent source; numbers that name the same source are fully
// correlated through it.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace assay::analysis {

struct Quantity {
    double value = 0.0;
    std::string unit{};
    std::map<std::string, double> contributions{};  // source id -> sensitivity times standard uncertainty

    double standard_uncertainty() const;
    /// k = 2, about 95 % where one normal-like source does not dominate alone.
    double expanded_uncertainty() const { return coverage_factor * standard_uncertainty(); }
    /// Share of one source in the variance, 0..1.
    double variance_share(const std::string& source_id) const;

    static constexpr double coverage_factor = 2.0;
};

Quantity exact(double value, std::string unit);

/// Linear propagation: value given by the caller, contributions are the sum of each input's
/// contributions times its partial derivative.
struct Term {
    const Quantity* input = nullptr;
    double derivative = 1.0;
};
Quantity combine(double value, std::string unit, const std::vector<Term>& terms);

Quantity sum(const std::vector<Quantity>& parts);
Quantity difference(const Quantity& a, const Quantity& b);
Quantity ratio(const Quantity& numerator, const Quantity& denominator, std::string unit);

/// What stands in the place of a number that cannot be given.
struct Absent {
    std::string code{};    // "limit-not-reached", "input-overload", ...
    std::string text{};    // why, for a person
    std::string advice{};  // what to do about it
};

}  // namespace assay::analysis
