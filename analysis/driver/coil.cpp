#include "analysis/driver/coil.h"

#include <cmath>
#include <numbers>
#include <utility>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;
using Derivatives = std::array<Complex, most_coil_parameters>;

constexpr std::array<std::pair<CoilKind, const char*>, 6> names{{
    {CoilKind::inductance, "inductance"},
    {CoilKind::loss_circuit, "loss-circuit"},
    {CoilKind::double_loss_circuit, "double-loss-circuit"},
    {CoilKind::power_law, "power-law"},
    {CoilKind::bounded_power_law, "bounded-power-law"},
    {CoilKind::semi_inductance, "semi-inductance"},
}};

/// Two in parallel. dZ/dA = (Z/A)^2, so that by logarithms dZ/dlnA = Z^2/A.
struct Parallel {
    Complex z{};
    Complex by_log_a{};
    Complex by_log_b{};
};

Parallel parallel(Complex a, Complex b) {
    const Complex sum = a + b;
    const Complex share = std::conj(sum) / std::norm(sum);
    const Complex of_a = b * share;
    const Complex of_b = a * share;
    return {a * of_a, a * of_a * of_a, b * of_b * of_b};
}

Complex power(double k, double n, double omega) {
    const double angle = n * std::numbers::pi / 2.0;
    const double magnitude = k * std::pow(omega, n);
    return {magnitude * std::cos(angle), magnitude * std::sin(angle)};
}

/// d/dln n of K(jw)^n, over the value itself.
Complex power_by_log_n(double n, double omega) {
    return n * Complex(std::log(omega), std::numbers::pi / 2.0);
}

}  // namespace

std::string coil_name(CoilKind kind) {
    for (const auto& [key, name] : names) {
        if (key == kind) return name;
    }
    return {};
}

bool coil_of_name(const std::string& name, CoilKind& kind) {
    for (const auto& [key, text] : names) {
        if (name == text) {
            kind = key;
            return true;
        }
    }
    return false;
}

std::size_t coil_parameter_count(CoilKind kind) {
    switch (kind) {
        case CoilKind::inductance:
            return 1;
        case CoilKind::power_law:
            return 2;
        case CoilKind::loss_circuit:
        case CoilKind::bounded_power_law:
        case CoilKind::semi_inductance:
            return 3;
        case CoilKind::double_loss_circuit:
            return 5;
    }
    return 0;
}

std::array<double, most_coil_parameters> coil_parameters(const Coil& coil) {
    switch (coil.kind) {
        case CoilKind::inductance:
            return {coil.l_h};
        case CoilKind::power_law:
            return {coil.k, coil.n};
        case CoilKind::loss_circuit:
            return {coil.l_h, coil.r2_ohm, coil.l2_h};
        case CoilKind::bounded_power_law:
            return {coil.l_h, coil.k, coil.n};
        case CoilKind::semi_inductance:
            return {coil.l_h, coil.l2_h, coil.k};
        case CoilKind::double_loss_circuit:
            return {coil.l_h, coil.r2_ohm, coil.l2_h, coil.r3_ohm, coil.l3_h};
    }
    return {};
}

Coil coil_from_parameters(CoilKind kind, const std::array<double, most_coil_parameters>& p) {
    Coil coil;
    coil.kind = kind;
    switch (kind) {
        case CoilKind::inductance:
            coil.l_h = p[0];
            break;
        case CoilKind::power_law:
            coil.k = p[0];
            coil.n = p[1];
            break;
        case CoilKind::bounded_power_law:
            coil.l_h = p[0];
            coil.k = p[1];
            coil.n = p[2];
            break;
        case CoilKind::semi_inductance:
            coil.l_h = p[0];
            coil.l2_h = p[1];
            coil.k = p[2];
            coil.n = 0.5;
            break;
        case CoilKind::loss_circuit:
        case CoilKind::double_loss_circuit:
            coil.l_h = p[0];
            coil.r2_ohm = p[1];
            coil.l2_h = p[2];
            coil.r3_ohm = p[3];
            coil.l3_h = p[4];
            break;
    }
    return coil;
}

Complex coil_impedance(const Coil& coil, double frequency_hz, Derivatives& by_log) {
    by_log = {};
    const double omega = two_pi * frequency_hz;
    const Complex series(0.0, omega * coil.l_h);
    switch (coil.kind) {
        case CoilKind::inductance:
            by_log[0] = series;
            return series;
        case CoilKind::power_law: {
            const Complex z = power(coil.k, coil.n, omega);
            by_log[0] = z;
            by_log[1] = z * power_by_log_n(coil.n, omega);
            return z;
        }
        case CoilKind::bounded_power_law: {
            const Parallel both = parallel(series, power(coil.k, coil.n, omega));
            by_log[0] = both.by_log_a;
            by_log[1] = both.by_log_b;
            by_log[2] = both.by_log_b * power_by_log_n(coil.n, omega);
            return both.z;
        }
        case CoilKind::semi_inductance: {
            const Parallel both = parallel({0.0, omega * coil.l2_h}, power(coil.k, 0.5, omega));
            by_log[0] = series;
            by_log[1] = both.by_log_a;
            by_log[2] = both.by_log_b;
            return series + both.z;
        }
        case CoilKind::loss_circuit:
        case CoilKind::double_loss_circuit: {
            const Parallel second = parallel(coil.r2_ohm, {0.0, omega * coil.l2_h});
            by_log[0] = series;
            by_log[1] = second.by_log_a;
            by_log[2] = second.by_log_b;
            if (coil.kind == CoilKind::loss_circuit) return series + second.z;
            const Parallel third = parallel(coil.r3_ohm, {0.0, omega * coil.l3_h});
            by_log[3] = third.by_log_a;
            by_log[4] = third.by_log_b;
            return series + second.z + third.z;
        }
    }
    return {};
}

Complex coil_impedance(const Coil& coil, double frequency_hz) {
    if (coil.kind == CoilKind::power_law) return power(coil.k, coil.n, two_pi * frequency_hz);
    Derivatives unused;
    return coil_impedance(coil, frequency_hz, unused);
}

}  // namespace assay::analysis
