// Resistors that a drawer holds: the E12 and E24 series (IEC 60063), and dividers made of them.
#pragma once

#include <span>

namespace assay::cli {

std::span<const double> e12();  // 1.0 .. 8.2
std::span<const double> e24();  // 1.0 .. 9.1

/// The smallest value of the series that is not below the wanted one; any decade.
double stock_at_least(double wanted, std::span<const double> series);

struct DividerProposal {
    double top_ohm = 0.0;      // E24, from the probe's tip to the card's input
    double bottom_ohm = 0.0;   // E12, across the card's input
    double attenuation = 1.0;  // with the card's own input resistance across the bottom one
    double top_w = 0.0;        // heat in the top resistor at the worst case's sine
    double level_dbfs = 0.0;   // what the worst case's peak comes to
    bool needed = true;        // false: the card takes it directly
};

inline constexpr double divider_target_dbfs = -8.0;

/// For a peak of so many volts at the probe's tip, an input of so many volts at full scale and its
/// resistance. The bottom resistor is 1 kilohm, more where the top one would take over an eighth of a watt.
DividerProposal propose_divider(double worst_peak_v, double full_scale_v, double input_resistance_ohm);

/// Peak volts at a probe: twice the rated power into the load, as a sine; half of it at each end of a bridge.
double worst_peak_v(double rated_power_w, double load_ohm, bool bridged);

}  // namespace assay::cli
