#include "analysis/signal/harmonic_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/IterativeLinearSolvers>
#include <algorithm>
#include <cmath>

#include "analysis/signal/fft.h"
#include "analysis/signal/harmonic_projector.h"
#include "analysis/signal/lanes.h"
#include "analysis/signal/windows.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

/// Sums over the centred record: sum cos(phi n), sum n sin(phi n), sum n^2 cos(phi n).
struct Kernel {
    double zeroth = 0.0;
    double first = 0.0;
    double second = 0.0;
};

Kernel kernel_at(double phi, double count) {
    // n counts in halves where the count is even: a whole turn of phi then changes the sign of all sums.
    const double sign =
        std::fmod(count, 2.0) == 0.0 && std::fmod(std::round(phi / two_pi), 2.0) != 0.0 ? -1.0 : 1.0;
    const double half = std::remainder(phi, two_pi) / 2.0;
    if (std::abs(half) * count < 1e-3) {  // series about zero
        const double square_sum = sign * count * (count * count - 1.0) / 12.0;
        return {sign * count - 2.0 * half * half * square_sum, 2.0 * half * square_sum, square_sum};
    }
    const double s = std::sin(half);
    const double c = std::cos(half);
    const double sn = std::sin(count * half);
    const double cn = std::cos(count * half);
    const double d0 = sn / s;
    const double d1 = 0.5 * (count * cn - d0 * c) / s;                            // d/dphi
    const double d2 = (-0.25 * count * count * sn + 0.25 * d0 * s - d1 * c) / s;  // d2/dphi2
    return {sign * d0, -sign * d1, -sign * d2};
}

/// A thousand harmonics, as 20 Hz has, took two thirds of the program's time by factors. Whole cycles make
/// the matrix nearly diagonal, and conjugate gradients then need a few products of it; what they do not bring
/// to the rounding of doubles is left to the factors.
Eigen::VectorXd solved(const Eigen::MatrixXd& normal, const Eigen::VectorXd& right) {
    constexpr Eigen::Index many = 64;
    constexpr int most_products = 60;
    constexpr double rounding = 1e-15;
    if (normal.rows() > many) {
        Eigen::ConjugateGradient<Eigen::MatrixXd, Eigen::Lower | Eigen::Upper> gradients(normal);
        gradients.setMaxIterations(most_products);
        gradients.setTolerance(rounding);
        Eigen::VectorXd solution = gradients.solve(right);
        if (gradients.info() == Eigen::Success) return solution;
    }
    return normal.ldlt().solve(right);
}

struct LinearSolution {
    double dc = 0.0;
    std::vector<Complex> phasors{};
    Complex slope{};  // p - j q: the linear part is n Re(slope e^{j w n})
};

/// Even columns (1, cos, n sin) and odd columns (sin, n cos) are orthogonal about the centre: two small
/// systems.
LinearSolution solve(const std::vector<Complex>& sums, double sum_x, double omega, double count,
                     bool with_slope) {
    const auto harmonics = static_cast<Eigen::Index>(sums.size()) - 1;
    std::vector<Kernel> kernels;
    for (Eigen::Index m = 0; m <= 2 * harmonics; ++m)
        kernels.push_back(kernel_at(omega * static_cast<double>(m), count));
    const auto zeroth = [&](Eigen::Index m) { return kernels[static_cast<std::size_t>(std::abs(m))].zeroth; };
    const auto first = [&](Eigen::Index m) {
        const double value = kernels[static_cast<std::size_t>(std::abs(m))].first;
        return m < 0 ? -value : value;
    };
    const double second_sum = kernels[0].second;
    const double second_double = kernels[2].second;

    const Eigen::Index extra = with_slope ? 1 : 0;
    Eigen::MatrixXd even = Eigen::MatrixXd::Zero(harmonics + 1 + extra, harmonics + 1 + extra);
    Eigen::MatrixXd odd = Eigen::MatrixXd::Zero(harmonics + extra, harmonics + extra);
    Eigen::VectorXd even_right(even.rows());
    Eigen::VectorXd odd_right(odd.rows());
    for (Eigen::Index k = 0; k <= harmonics; ++k) {
        for (Eigen::Index l = 0; l <= harmonics; ++l) even(k, l) = 0.5 * (zeroth(k - l) + zeroth(k + l));
        even_right(k) = k == 0 ? sum_x : sums[static_cast<std::size_t>(k - 1)].real();
    }
    for (Eigen::Index k = 1; k <= harmonics; ++k) {
        for (Eigen::Index l = 1; l <= harmonics; ++l)
            odd(k - 1, l - 1) = 0.5 * (zeroth(k - l) - zeroth(k + l));
        odd_right(k - 1) = sums[static_cast<std::size_t>(k - 1)].imag();
    }
    // The slope columns are scaled by the record's length, or the systems would be badly conditioned.
    const double scale = 2.0 / count;
    if (with_slope) {
        const Eigen::Index last_even = even.rows() - 1;
        const Eigen::Index last_odd = odd.rows() - 1;
        for (Eigen::Index k = 0; k <= harmonics; ++k) {  // n sin(w n) against cos(k w n)
            even(k, last_even) = even(last_even, k) = scale * 0.5 * (first(1 + k) + first(1 - k));
        }
        for (Eigen::Index k = 1; k <= harmonics; ++k) {  // n cos(w n) against sin(k w n)
            odd(k - 1, last_odd) = odd(last_odd, k - 1) = scale * 0.5 * (first(k + 1) + first(k - 1));
        }
        even(last_even, last_even) = scale * scale * 0.5 * (second_sum - second_double);
        odd(last_odd, last_odd) = scale * scale * 0.5 * (second_sum + second_double);
        even_right(last_even) = scale * sums.back().imag();
        odd_right(last_odd) = scale * sums.back().real();
    }
    const Eigen::VectorXd even_solution = solved(even, even_right);
    const Eigen::VectorXd odd_solution = solved(odd, odd_right);
    LinearSolution solution;
    solution.dc = even_solution(0);
    for (Eigen::Index k = 1; k <= harmonics; ++k) {
        solution.phasors.emplace_back(even_solution(k), -odd_solution(k - 1));
    }
    if (with_slope) {
        solution.slope = {scale * odd_solution(odd.rows() - 1), -scale * even_solution(even.rows() - 1)};
    }
    return solution;
}

}  // namespace

HarmonicFit fit_harmonics(std::span<const double> record, double rate_hz, double frequency_guess_hz,
                          const HarmonicFitOptions& options) {
    const double count = static_cast<double>(record.size());
    const double sum_x = lane_sum(record);

    double omega = two_pi * frequency_guess_hz / rate_hz;
    // The frequency settles on the fundamental and its first harmonics; all of them are solved at the end.
    HarmonicProjector projector(record);
    for (int iteration = 0; iteration < options.iterations; ++iteration) {
        projector.set_basis(omega, std::min(options.harmonics, 5));
        const LinearSolution solution = solve(projector.project(), sum_x, omega, count, true);
        const Complex fundamental = solution.phasors[0];
        if (std::abs(fundamental) <= 0.0) break;
        const double step = (solution.slope / fundamental).imag();
        if (std::abs(step) * count > 2.0) break;  // no tone here: the frequency must not wander off
        omega += step;
        if (std::abs(step) * count < 1e-9) break;
    }

    projector.set_basis(omega, options.harmonics);
    const LinearSolution solution = solve(projector.project(), sum_x, omega, count, options.with_drift);
    HarmonicFit fit;
    fit.frequency_hz = omega * rate_hz / two_pi;
    fit.dc = solution.dc;
    fit.phasors = solution.phasors;
    if (std::abs(fit.phasors[0]) > 0.0)
        fit.drift_per_record = (solution.slope / fit.phasors[0]).real() * count;
    fit.residual = projector.residual(solution.dc, solution.phasors, solution.slope);
    const double square_sum = lane_dot(fit.residual, fit.residual);
    const double parameters = 2.0 * options.harmonics + 2.0 + (options.with_drift ? 1.0 : 0.0);
    fit.sigma = std::sqrt(square_sum / std::max(count - parameters, 1.0));
    return fit;
}

double strongest_line_hz(std::span<const double> record, double rate_hz, double from_hz, double to_hz) {
    const std::vector<double> window = hann_window(record.size());
    std::vector<double> weighted(record.size());
    for (std::size_t n = 0; n < record.size(); ++n) weighted[n] = record[n] * window[n];
    const std::size_t length = good_fft_length(2 * record.size());
    const std::vector<Complex> bins = real_spectrum(weighted, length);
    const double bin_hz = rate_hz / static_cast<double>(length);
    const auto first = static_cast<std::size_t>(std::max(1.0, std::floor(from_hz / bin_hz)));
    const auto last = std::min(bins.size() - 2, static_cast<std::size_t>(std::ceil(to_hz / bin_hz)));
    if (first > last) return from_hz;  // nothing can be seen there
    std::size_t best = first;
    for (std::size_t k = first; k <= last; ++k) {
        if (std::norm(bins[k]) > std::norm(bins[best])) best = k;
    }
    const auto level = [&](std::size_t k) { return std::log(std::norm(bins[k]) + 1e-300); };
    const double left = level(best - 1);
    const double middle = level(best);
    const double right = level(best + 1);
    const double curvature = left - 2.0 * middle + right;
    const double shift = curvature < 0.0 ? 0.5 * (left - right) / curvature : 0.0;
    return (static_cast<double>(best) + std::clamp(shift, -0.5, 0.5)) * bin_hz;
}

}  // namespace assay::analysis
