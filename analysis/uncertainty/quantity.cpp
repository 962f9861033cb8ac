#include "analysis/uncertainty/quantity.h"

#include <cmath>
#include <utility>

namespace assay::analysis {

double Quantity::standard_uncertainty() const {
    double variance = 0.0;
    for (const auto& [id, contribution] : contributions) variance += contribution * contribution;
    return std::sqrt(variance);
}

double Quantity::variance_share(const std::string& source_id) const {
    const auto found = contributions.find(source_id);
    const double whole = standard_uncertainty();
    if (found == contributions.end() || whole <= 0.0) return 0.0;
    return (found->second / whole) * (found->second / whole);
}

Quantity exact(double value, std::string unit) {
    return Quantity{value, std::move(unit), {}};
}

Quantity combine(double value, std::string unit, const std::vector<Term>& terms) {
    Quantity result{value, std::move(unit), {}};
    for (const Term& term : terms) {
        for (const auto& [id, contribution] : term.input->contributions) {
            result.contributions[id] += term.derivative * contribution;
        }
    }
    return result;
}

Quantity sum(const std::vector<Quantity>& parts) {
    double value = 0.0;
    std::vector<Term> terms;
    for (const Quantity& part : parts) {
        value += part.value;
        terms.push_back({&part, 1.0});
    }
    return combine(value, parts.empty() ? std::string{} : parts.front().unit, terms);
}

Quantity difference(const Quantity& a, const Quantity& b) {
    return combine(a.value - b.value, a.unit, {{&a, 1.0}, {&b, -1.0}});
}

Quantity ratio(const Quantity& numerator, const Quantity& denominator, std::string unit) {
    const double value = numerator.value / denominator.value;
    return combine(value, std::move(unit),
                   {{&numerator, 1.0 / denominator.value}, {&denominator, -value / denominator.value}});
}

}  // namespace assay::analysis
