#include "analysis/driver/motional.h"

#include <cmath>
#include <numbers>

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

/// Imaginary part of log10(j).
constexpr double quarter_turn = std::numbers::pi / 2.0 / std::numbers::ln10;

/// Stiffness re its real part at fs.
struct Spring {
    Complex stiffness{1.0};
    Complex by_q{};
    Complex by_lambda{};
    double loss = 0.0;  // its loss at fs
    double loss_by_lambda = 0.0;
};

/// 1/z, without the care for infinities that makes the general division slow.
Complex inverse(Complex z) {
    return std::conj(z) / std::norm(z);
}

Spring logarithmic(double lambda, double q) {
    const Complex decades(std::log10(q), quarter_turn);
    const Complex softness = inverse(1.0 - lambda * decades);
    Spring spring;
    spring.stiffness = (1.0 + quarter_turn * quarter_turn * lambda * lambda) * softness;
    spring.by_q = spring.stiffness * softness * (lambda / (q * std::numbers::ln10));
    spring.by_lambda = (2.0 * quarter_turn * quarter_turn * lambda + spring.stiffness * decades) * softness;
    spring.loss = quarter_turn * lambda;
    spring.loss_by_lambda = quarter_turn;
    return spring;
}

Spring exponential(double lambda, double q) {
    const double angle = quarter_turn * lambda;
    const double beta = lambda / std::numbers::ln10;
    const Complex decades(std::log10(q), quarter_turn);
    Spring spring;
    spring.stiffness = std::pow(q, beta) * Complex(1.0, std::tan(angle));
    spring.by_q = spring.stiffness * beta / q;
    spring.by_lambda = spring.stiffness * (decades + quarter_turn * std::tan(angle));
    spring.loss = std::tan(angle);
    spring.loss_by_lambda = quarter_turn / (std::cos(angle) * std::cos(angle));
    return spring;
}

}  // namespace

double creep_loss(const Cone& cone) {
    const double angle = quarter_turn * cone.creep_lambda;
    return cone.exponential_creep ? std::tan(angle) : angle;
}

Complex mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz,
                             MotionalDerivatives& derivatives) {
    const double q = frequency_hz / cone.fs_hz;
    const Complex jq(0.0, q);
    const Complex by_jq(0.0, -1.0 / q);
    const Spring own =
        cone.exponential_creep ? exponential(cone.creep_lambda, q) : logarithmic(cone.creep_lambda, q);
    const Complex inertia = jq * (1.0 + loading.mass);
    const Complex spring = (own.stiffness + loading.stiffness) * by_jq;
    const double with_frequency = cone.loss_slope == 0.0 ? 1.0 : std::pow(q, cone.loss_slope);
    const double viscous = (1.0 / cone.qms - own.loss) * with_frequency;

    derivatives.by_log_fs = -inertia + spring - q * own.by_q * by_jq - cone.loss_slope * viscous;
    derivatives.by_log_qms = -with_frequency / cone.qms;
    derivatives.by_lambda = -own.loss_by_lambda * with_frequency + own.by_lambda * by_jq;
    derivatives.by_slope = viscous * std::log(q);
    derivatives.by_mass = jq;
    derivatives.by_stiffness = by_jq;
    derivatives.by_loss = 1.0;
    return inertia + viscous + loading.loss + spring;
}

Complex mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz) {
    const double q = frequency_hz / cone.fs_hz;
    Complex stiffness = 1.0;
    double viscous = 1.0 / cone.qms;
    if (cone.creep_lambda != 0.0) {
        const Spring own =
            cone.exponential_creep ? exponential(cone.creep_lambda, q) : logarithmic(cone.creep_lambda, q);
        stiffness = own.stiffness;
        viscous -= own.loss;
    }
    if (cone.loss_slope != 0.0) viscous *= std::pow(q, cone.loss_slope);
    const Complex spring = (stiffness + loading.stiffness) * Complex(0.0, -1.0 / q);
    return Complex(0.0, q * (1.0 + loading.mass)) + viscous + loading.loss + spring;
}

}  // namespace assay::analysis
