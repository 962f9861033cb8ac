// The cone as the coil sees it: mass, suspension with creep, losses, and what is done to the cone in a test
// (a mass stuck to it, a closed box behind it).
//
// Source: R.H. Small, JAES 20(5), 1972: Zmot = (Re/Qes) / (q j + 1/Qms + 1/(q j)), q = f/fs. Creep: Knudsen
// and Jensen, JAES 41, 1993, the logarithmic law C(f) = C0 (1 - lambda log10(j f/fs)): its reference is the
// resonance in free air, its logarithm the decadic one. fs is where the mechanical reactance vanishes and Qms
// the one that the height of the peak shows: the viscous loss is what remains of 1/Qms when the loss of the
// creep at fs is taken off. Beside it the exponential law of the same paper, C(f) = C0 (j f/fs)^(-beta), with
// lambda = beta ln 10, which is its slope a decade at fs; and a plain spring with a loss that goes with a
// power of the frequency.
#pragma once

#include <complex>

namespace assay::analysis {

struct Cone {
    double fs_hz = 0.0;
    double qms = 0.0;
    double qes = 0.0;
    double creep_lambda = 0.0;  // 0 to about 0.3; 0: a plain spring
    bool exponential_creep = false;
    double loss_slope = 0.0;  // the viscous loss goes with (f/fs)^loss_slope; 0: it does not change
};

/// Loss of the creep at fs, as 1/Q.
double creep_loss(const Cone& cone);

/// What a test adds, each re the free cone.
struct Loading {
    double mass = 0.0;  // added mass re Mms
    double stiffness =
        0.0;            // stiffness of the box's air re that of the suspension at fs: Vas over the volume
    double loss = 0.0;  // added loss, as 1/Q at fs
};

/// Mechanical impedance over ws Mms, dimensionless.
std::complex<double> mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz);

struct MotionalDerivatives {
    std::complex<double> by_log_fs{};
    std::complex<double> by_log_qms{};
    std::complex<double> by_lambda{};
    std::complex<double> by_slope{};
    std::complex<double> by_mass{};
    std::complex<double> by_stiffness{};
    std::complex<double> by_loss{};
};

/// The same, with the derivatives of it; those by log fs hold the loading's ratios still.
std::complex<double> mechanical_impedance(const Cone& cone, const Loading& loading, double frequency_hz,
                                          MotionalDerivatives& derivatives);

}  // namespace assay::analysis
