#include "analysis/amplifier/faint_line.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "analysis/signal/band_power.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr Eigen::Index piece_samples = 512;

/// Rows [first, first + count) of the model: cosine and sine of each line, and a one.
Eigen::MatrixXd rows_of(std::span<const double> lines_hz, double rate_hz, Eigen::Index first,
                        Eigen::Index count, double centre) {
    const auto lines = static_cast<Eigen::Index>(lines_hz.size());
    Eigen::MatrixXd rows(count, 2 * lines + 1);
    for (Eigen::Index k = 0; k < lines; ++k) {
        const double omega = two_pi * lines_hz[static_cast<std::size_t>(k)] / rate_hz;
        std::complex<double> phasor =
            std::polar(1.0, std::fmod(omega * (static_cast<double>(first) - centre), two_pi));
        const std::complex<double> turn = std::polar(1.0, omega);
        for (Eigen::Index n = 0; n < count; ++n) {
            rows(n, 2 * k) = phasor.real();
            rows(n, 2 * k + 1) = phasor.imag();
            phasor *= turn;
        }
    }
    rows.col(2 * lines).setOnes();
    return rows;
}

}  // namespace

double Line::amplitude() const {
    return std::sqrt(std::max(std::norm(phasor) - 2.0 * doubt * doubt, 0.0));
}

std::vector<Line> fit_lines(std::span<const double> record, double rate_hz,
                            std::span<const double> lines_hz) {
    const auto count = static_cast<Eigen::Index>(record.size());
    const auto columns = static_cast<Eigen::Index>(2 * lines_hz.size() + 1);
    const double centre = 0.5 * static_cast<double>(count - 1);
    const Eigen::Map<const Eigen::VectorXd> samples(record.data(), count);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(columns, columns);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(columns);
    for (Eigen::Index first = 0; first < count; first += piece_samples) {
        const Eigen::Index size = std::min(piece_samples, count - first);
        const Eigen::MatrixXd rows = rows_of(lines_hz, rate_hz, first, size, centre);
        normal.noalias() += rows.transpose() * rows;
        right.noalias() += rows.transpose() * samples.segment(first, size);
    }
    const Eigen::VectorXd solved = normal.ldlt().solve(right);
    std::vector<double> residual(record.size());
    for (Eigen::Index first = 0; first < count; first += piece_samples) {
        const Eigen::Index size = std::min(piece_samples, count - first);
        const Eigen::VectorXd rest =
            samples.segment(first, size) - rows_of(lines_hz, rate_hz, first, size, centre) * solved;
        std::copy_n(rest.data(), size, residual.begin() + first);
    }
    const PowerSpectrum spectrum = power_spectrum(residual, rate_hz);
    std::vector<Line> lines;
    for (std::size_t k = 0; k < lines_hz.size(); ++k) {
        const auto at = static_cast<Eigen::Index>(2 * k);
        const double near_hz = std::max(0.1 * lines_hz[k], 20.0 * spectrum.bin_hz);
        const double density = spectrum.noise_density(std::max(lines_hz[k] - near_hz, spectrum.bin_hz),
                                                      std::min(lines_hz[k] + near_hz, 0.499 * rate_hz));
        // a cos + b sin is the real part of (a - j b) e^{j w n}; each has the variance 2 sigma^2 / N, sigma^2
        // being what white noise of this density has up to half the rate.
        lines.push_back({lines_hz[k],
                         {solved(at), -solved(at + 1)},
                         std::sqrt(density * rate_hz / static_cast<double>(count))});
    }
    return lines;
}

}  // namespace assay::analysis
