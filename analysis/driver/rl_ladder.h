// Impedances that rise with a fraction of the frequency, made of plain parts: a chain of resistors with an
// inductor across each.
//
// Source: s^n = sin(n pi)/pi times the integral of x^(n-1) s/(s+x) over x from 0 to infinity, 0 < n < 1, and
// -s ln(s) likewise with equal weights: both are sums of such cells with weights above zero (Foster's first
// form of an RL impedance). Cells at evenly spaced log x approach the integral exponentially with their
// density; least squares takes up what lies outside the band.
#pragma once

#include <complex>
#include <functional>
#include <vector>

namespace assay::analysis {

/// A resistor with an inductor across it.
struct RlCell {
    double r_ohm = 0.0;
    double l_h = 0.0;
};

/// In series: a resistor, an inductor and the cells; zero where one is not there.
struct RlLadder {
    double r_ohm = 0.0;
    double l_h = 0.0;
    std::vector<RlCell> cells{};
};

std::complex<double> impedance_at(const RlLadder& ladder, double frequency_hz);

struct LadderFit {
    RlLadder ladder{};
    double worst_error = 0.0;  // largest |Z/wanted - 1| in the band
};

/// As few cells as give `wanted` within `error` from one frequency to the other; the densest allowed ladder
/// if none does. No part is negative. `wanted` must be the impedance of an RL circuit: rising, its real part
/// too.
LadderFit fit_rl_ladder(const std::function<std::complex<double>(double frequency_hz)>& wanted,
                        double from_hz, double to_hz, double error, bool with_resistor);

}  // namespace assay::analysis
