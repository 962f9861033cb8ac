// The voice coil beside its resistance: what its inductance becomes when pole piece, top plate and short
// rings carry eddy currents.
//
// Sources of the forms: K(jw)^n: W.M. Leach, JAES 50(6), 2002; the case n = 1/2: J. Vanderkooy, JAES 37(3),
// 1989 (from memory); L + R||L: the usual circuit of simulators. Valid where the coil's own capacitance does
// not matter, below some 50 kHz.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <string>

namespace assay::analysis {

enum class CoilKind {
    inductance,           // jwL
    loss_circuit,         // jwL + (R2 || jwL2)
    double_loss_circuit,  // jwL + (R2 || jwL2) + (R3 || jwL3)
    power_law,            // K(jw)^n
    bounded_power_law,    // jwL || K(jw)^n
    semi_inductance,      // jwL + (jwL2 || K(jw)^(1/2))
};

/// Members that the kind does not use are zero.
struct Coil {
    CoilKind kind = CoilKind::inductance;
    double l_h = 0.0;
    double l2_h = 0.0;
    double r2_ohm = 0.0;
    double l3_h = 0.0;
    double r3_ohm = 0.0;
    double k = 0.0;  // ohm s^n
    double n = 0.0;
};

/// Stable names: "inductance", "loss-circuit", "double-loss-circuit", "power-law", "bounded-power-law",
/// "semi-inductance".
std::string coil_name(CoilKind kind);
/// False when there is no such name.
bool coil_of_name(const std::string& name, CoilKind& kind);

constexpr std::size_t most_coil_parameters = 5;

/// Numbers that a fit may move, all of them above zero: the fit moves their logarithms.
std::size_t coil_parameter_count(CoilKind kind);
std::array<double, most_coil_parameters> coil_parameters(const Coil& coil);
Coil coil_from_parameters(CoilKind kind, const std::array<double, most_coil_parameters>& parameters);

/// Ohm, without the coil's resistance to direct current.
std::complex<double> coil_impedance(const Coil& coil, double frequency_hz);

/// The same, and its derivatives by the natural logarithm of each parameter.
std::complex<double> coil_impedance(const Coil& coil, double frequency_hz,
                                    std::array<std::complex<double>, most_coil_parameters>& by_log);

}  // namespace assay::analysis
