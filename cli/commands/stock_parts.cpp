#include "cli/commands/stock_parts.h"

#include <array>
#include <cmath>

#include "analysis/units.h"

namespace assay::cli {

namespace {

constexpr std::array e12_values{1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2};
constexpr std::array e24_values{1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
                                3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1};
constexpr double least_bottom_ohm = 1000.0;
constexpr double highest_top_w = 0.125;
constexpr double rounding = 1e-9;

}  // namespace

std::span<const double> e12() {
    return e12_values;
}

std::span<const double> e24() {
    return e24_values;
}

double stock_at_least(double wanted, std::span<const double> series) {
    const double decade = std::pow(10.0, std::floor(std::log10(wanted * (1.0 + rounding))));
    for (const double value : series) {
        if (value * decade >= wanted * (1.0 - rounding)) return value * decade;
    }
    return 10.0 * decade;
}

DividerProposal propose_divider(double worst_peak_v, double full_scale_v, double input_resistance_ohm) {
    DividerProposal proposal;
    const double allowed_v = full_scale_v * analysis::ratio_from_decibels(divider_target_dbfs);
    const double wanted = worst_peak_v / allowed_v;
    if (wanted <= 1.0) {
        proposal.needed = false;
        proposal.level_dbfs = analysis::decibels(worst_peak_v / full_scale_v);
        return proposal;
    }
    double bottom = least_bottom_ohm;
    for (;;) {
        const double parallel = bottom * input_resistance_ohm / (bottom + input_resistance_ohm);
        const double top = stock_at_least(std::max((wanted - 1.0) * parallel, 10.0), e24());
        proposal.bottom_ohm = bottom;
        proposal.top_ohm = top;
        proposal.attenuation = 1.0 + top / parallel;
        const double across_top_v = worst_peak_v * (1.0 - 1.0 / proposal.attenuation);
        proposal.top_w = across_top_v * across_top_v / 2.0 / top;
        // A bottom resistor far above the card's own would leave the ratio to the card.
        const double next = stock_at_least(bottom * 1.01, e12());
        if (proposal.top_w <= highest_top_w || next > input_resistance_ohm) break;
        bottom = next;
    }
    proposal.level_dbfs = analysis::decibels(worst_peak_v / proposal.attenuation / full_scale_v);
    return proposal;
}

double worst_peak_v(double rated_power_w, double load_ohm, bool bridged) {
    const double peak_v = std::sqrt(2.0 * 2.0 * rated_power_w * load_ohm);
    return bridged ? 0.5 * peak_v : peak_v;
}

}  // namespace assay::cli
