#include "analysis/driver/motional.h"

#include <cmath>
#include <numbers>

namespace assay::analysis {

using Complex = std::complex<double>;

Complex mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz,
                             MotionalDerivatives& derivatives) {
    const double q = frequency_hz / cone.fs_hz;
    const Complex jq(0.0, q);
    // Imaginary part of log10(j).
    const double quarter_turn = std::numbers::pi / 2.0 / std::numbers::ln10;
    const double lambda = cone.creep_lambda;
    const Complex spring_log(std::log10(q), quarter_turn);
    const double at_fs = 1.0 + quarter_turn * quarter_turn * lambda * lambda;
    const Complex compliance = 1.0 - lambda * spring_log;
    // Stiffness re its real part at fs.
    const Complex stiffness = at_fs / compliance;
    const Complex by_q = -stiffness * (-lambda / (q * std::numbers::ln10)) / compliance;

    const Complex inertia = jq * (1.0 + loading.mass);
    const Complex spring = (stiffness + loading.stiffness) / jq;
    const double loss = 1.0 / cone.qms - quarter_turn * lambda + loading.loss;

    derivatives.by_log_fs = -inertia + spring - q * by_q / jq;
    derivatives.by_log_qms = -1.0 / cone.qms;
    derivatives.by_lambda =
        -quarter_turn +
        (2.0 * quarter_turn * quarter_turn * lambda + stiffness * spring_log) / compliance / jq;
    derivatives.by_mass = jq;
    derivatives.by_stiffness = 1.0 / jq;
    derivatives.by_loss = 1.0;
    return inertia + loss + spring;
}

Complex mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz) {
    MotionalDerivatives unused;
    return mechanical_impedance(cone, loading, frequency_hz, unused);
}

}  // namespace assay::analysis
