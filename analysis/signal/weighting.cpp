#include "analysis/signal/weighting.h"

#include <array>
#include <cmath>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

/// The four corner frequencies of A, squared.
std::array<double, 4> squared_poles() {
    const double r2 = 1000.0 * 1000.0;
    const double l2 = std::pow(10.0, 3.0);
    const double h2 = std::pow(10.0, 7.8);
    const double d = std::sqrt(0.5);
    const double b = (r2 + l2 * h2 / r2 - d * (l2 + h2)) / (1.0 - d);
    const double c = l2 * h2;
    const double root = std::sqrt(b * b - 4.0 * c);
    const double fa = std::pow(10.0, 2.45);
    const double f2 = fa * (3.0 - std::sqrt(5.0)) / 2.0;
    const double f3 = fa * (3.0 + std::sqrt(5.0)) / 2.0;
    return {(-b - root) / 2.0, f2 * f2, f3 * f3, (-b + root) / 2.0};
}

double a_gain(double frequency_hz) {
    static const std::array<double, 4> poles = squared_poles();
    const double f2 = frequency_hz * frequency_hz;
    return f2 * f2 / ((f2 + poles[0]) * std::sqrt((f2 + poles[1]) * (f2 + poles[2])) * (f2 + poles[3]));
}

/// Rational form of the network: s over a polynomial of sixth order, at s = j f.
std::complex<double> itu_network(double f) {
    const double f2 = f * f;
    const double h1 =
        ((-4.737338981378384e-24 * f2 + 2.043828333606125e-15) * f2 - 1.363894795463638e-7) * f2 + 1.0;
    const double h2 = ((1.306612257412824e-19 * f2 - 2.118150887518656e-11) * f2 + 5.559488023498642e-4) * f;
    return std::complex<double>(0.0, 1.246332637532143e-4 * f) / std::complex<double>(h1, h2);
}

}  // namespace

double a_weighting_db(double frequency_hz) {
    return decibels(a_gain(frequency_hz) / a_gain(1000.0));
}

std::complex<double> itu_468_response(double frequency_hz) {
    static const double at_1khz = std::abs(itu_network(1000.0));
    return itu_network(frequency_hz) / at_1khz;
}

double itu_468_weighting_db(double frequency_hz) {
    return decibels(std::abs(itu_468_response(frequency_hz)));
}

}  // namespace assay::analysis
