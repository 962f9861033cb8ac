#include "analysis/driver/equivalent_circuit.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

/// The whole has to come back within 1e-4; a ladder is one of several parts.
constexpr double ladder_error = 1e-5;
/// Above this many times fs the cone is its mass; what its suspension does there is not seen.
constexpr double suspension_band = 100.0;

RlLadder power_ladder(const Coil& coil, double from_hz, double to_hz) {
    Coil alone;
    alone.kind = CoilKind::power_law;
    alone.k = coil.k;
    alone.n = coil.n;
    return fit_rl_ladder([&](double f) { return coil_impedance(alone, f); }, from_hz, to_hz, ladder_error,
                         true)
        .ladder;
}

void add_coil(const Coil& coil, double from_hz, double to_hz, EquivalentCircuit& circuit) {
    switch (coil.kind) {
        case CoilKind::inductance:
            circuit.coil_series_h = coil.l_h;
            return;
        case CoilKind::double_loss_circuit:
            circuit.coil.cells = {{coil.r2_ohm, coil.l2_h}, {coil.r3_ohm, coil.l3_h}};
            circuit.coil_series_h = coil.l_h;
            return;
        case CoilKind::loss_circuit:
            circuit.coil.cells = {{coil.r2_ohm, coil.l2_h}};
            circuit.coil_series_h = coil.l_h;
            return;
        case CoilKind::power_law:
            circuit.coil = power_ladder(coil, from_hz, to_hz);
            return;
        case CoilKind::bounded_power_law:
            circuit.coil = power_ladder(coil, from_hz, to_hz);
            circuit.coil_across_h = coil.l_h;
            return;
        case CoilKind::semi_inductance:
            circuit.coil = power_ladder(coil, from_hz, to_hz);
            circuit.coil_across_h = coil.l2_h;
            circuit.coil_series_h = coil.l_h;
            return;
    }
}

}  // namespace

EquivalentCircuit equivalent_circuit(const FittedDriver& driver, double from_hz, double to_hz) {
    EquivalentCircuit circuit;
    const Cone& cone = driver.cone;
    const double omega_s = two_pi * cone.fs_hz;
    circuit.re_ohm = driver.re_ohm;
    add_coil(driver.coil, from_hz, to_hz, circuit);
    circuit.cone_f = cone.qes / (omega_s * driver.re_ohm);
    // Beside the mass, Zm over ws Mms (motional.h) is a constant, the viscous loss, and the suspension.
    Cone free_of_loss = cone;
    free_of_loss.qms = std::numeric_limits<double>::infinity();
    free_of_loss.loss_slope = 0.0;
    const double creep = creep_loss(cone);
    const double viscous = 1.0 / cone.qms - creep;
    // A suspension that alone loses more than there is lost leaves nothing that a resistor could be; the
    // ladder is then too lossy, and `worst_error` tells it.
    if (viscous > 0.0) circuit.cone_loss_ohm = driver.re_ohm / cone.qes / viscous;
    if (cone.creep_lambda == 0.0) {
        circuit.suspension.l_h = driver.re_ohm / (omega_s * cone.qes);
    } else {
        const auto suspension = [&](double f) {
            const Complex mass(0.0, f / cone.fs_hz);
            const Complex spring = mechanical_impedance(free_of_loss, {}, f) - mass + creep;
            return driver.re_ohm / cone.qes / spring;
        };
        const double top_hz = std::max(std::min(to_hz, suspension_band * cone.fs_hz), 10.0 * from_hz);
        circuit.suspension = fit_rl_ladder(suspension, from_hz, top_hz, ladder_error, false).ladder;
    }
    constexpr int points_per_decade = 100;
    const int points =
        std::max(1, static_cast<int>(std::ceil(points_per_decade * std::log10(to_hz / from_hz))));
    for (int i = 0; i <= points; ++i) {
        const double f = from_hz * std::pow(to_hz / from_hz, i / static_cast<double>(points));
        circuit.worst_error =
            std::max(circuit.worst_error, std::abs(impedance_at(circuit, f) / impedance_at(driver, f) - 1.0));
    }
    return circuit;
}

Complex impedance_at(const EquivalentCircuit& circuit, double frequency_hz) {
    const double omega = two_pi * frequency_hz;
    Complex coil = impedance_at(circuit.coil, frequency_hz);
    if (circuit.coil_across_h) {
        const Complex across(0.0, omega * *circuit.coil_across_h);
        coil = coil * across / (coil + across);
    }
    Complex cone_siemens =
        Complex(0.0, omega * circuit.cone_f) + 1.0 / impedance_at(circuit.suspension, frequency_hz);
    if (circuit.cone_loss_ohm) cone_siemens += 1.0 / *circuit.cone_loss_ohm;
    return circuit.re_ohm + Complex(0.0, omega * circuit.coil_series_h) + coil + 1.0 / cone_siemens;
}

}  // namespace assay::analysis
