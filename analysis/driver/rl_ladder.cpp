#include "analysis/driver/rl_ladder.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

constexpr int rows_per_decade = 40;

std::vector<double> log_grid(double from, double to, int per_decade) {
    const int steps = std::max(1, static_cast<int>(std::ceil(std::log10(to / from) * per_decade)));
    std::vector<double> grid;
    for (int i = 0; i <= steps; ++i)
        grid.push_back(from * std::pow(to / from, i / static_cast<double>(steps)));
    return grid;
}

double worst_error(const RlLadder& ladder, const std::vector<double>& frequencies_hz,
                   const std::vector<Complex>& wanted) {
    double worst = 0.0;
    for (std::size_t i = 0; i < frequencies_hz.size(); ++i) {
        worst = std::max(worst, std::abs(impedance_at(ladder, frequencies_hz[i]) / wanted[i] - 1.0));
    }
    return worst;
}

/// Least squares without negative weights: the most negative one is taken out until none is left.
Eigen::VectorXd weights_of(Eigen::MatrixXd columns, const Eigen::VectorXd& right) {
    std::vector<Eigen::Index> used;
    for (Eigen::Index i = 0; i < columns.cols(); ++i) used.push_back(i);
    Eigen::VectorXd weights = Eigen::VectorXd::Zero(columns.cols());
    while (!used.empty()) {
        Eigen::MatrixXd part(columns.rows(), static_cast<Eigen::Index>(used.size()));
        for (std::size_t i = 0; i < used.size(); ++i) {
            part.col(static_cast<Eigen::Index>(i)) = columns.col(used[i]);
        }
        const Eigen::VectorXd solved = part.colPivHouseholderQr().solve(right);
        Eigen::Index lowest = 0;
        if (solved.minCoeff(&lowest) >= 0.0) {
            for (std::size_t i = 0; i < used.size(); ++i)
                weights[used[i]] = solved[static_cast<Eigen::Index>(i)];
            return weights;
        }
        used.erase(used.begin() + lowest);
    }
    return weights;
}

RlLadder ladder_with(const std::vector<double>& corners_hz, const std::vector<double>& frequencies_hz,
                     const std::vector<Complex>& wanted, bool with_resistor) {
    const auto rows = static_cast<Eigen::Index>(frequencies_hz.size());
    const auto cells = static_cast<Eigen::Index>(corners_hz.size());
    const double top_hz = frequencies_hz.back();
    Eigen::MatrixXd columns(2 * rows, cells + (with_resistor ? 2 : 1));
    Eigen::VectorXd right(2 * rows);
    for (Eigen::Index i = 0; i < rows; ++i) {
        const double f = frequencies_hz[static_cast<std::size_t>(i)];
        const Complex z = wanted[static_cast<std::size_t>(i)];
        const auto put = [&](Eigen::Index column, Complex value) {
            columns(2 * i, column) = (value / z).real();
            columns(2 * i + 1, column) = (value / z).imag();
        };
        for (Eigen::Index k = 0; k < cells; ++k) {
            const Complex ratio(0.0, f / corners_hz[static_cast<std::size_t>(k)]);
            put(k, ratio / (1.0 + ratio));
        }
        put(cells, {0.0, f / top_hz});
        if (with_resistor) put(cells + 1, 1.0);
        right[2 * i] = 1.0;
        right[2 * i + 1] = 0.0;
    }
    const Eigen::VectorXd weights = weights_of(std::move(columns), right);
    RlLadder ladder;
    for (Eigen::Index k = 0; k < cells; ++k) {
        if (weights[k] <= 0.0) continue;
        ladder.cells.push_back({weights[k], weights[k] / (two_pi * corners_hz[static_cast<std::size_t>(k)])});
    }
    ladder.l_h = weights[cells] / (two_pi * top_hz);
    if (with_resistor) ladder.r_ohm = weights[cells + 1];
    return ladder;
}

}  // namespace

Complex impedance_at(const RlLadder& ladder, double frequency_hz) {
    const double omega = two_pi * frequency_hz;
    Complex z(ladder.r_ohm, omega * ladder.l_h);
    for (const RlCell& cell : ladder.cells) {
        const Complex inductor(0.0, omega * cell.l_h);
        z += cell.r_ohm * inductor / (cell.r_ohm + inductor);
    }
    return z;
}

LadderFit fit_rl_ladder(const std::function<Complex(double frequency_hz)>& wanted, double from_hz,
                        double to_hz, double error, bool with_resistor) {
    const std::vector<double> frequencies_hz = log_grid(from_hz, to_hz, rows_per_decade);
    std::vector<Complex> values;
    values.reserve(frequencies_hz.size());
    for (const double f : frequencies_hz) values.push_back(wanted(f));
    LadderFit best;
    best.worst_error = std::numeric_limits<double>::infinity();
    for (int half_cells_per_decade = 2; half_cells_per_decade <= 8; ++half_cells_per_decade) {
        for (const double beyond : {3.0, 10.0, 100.0}) {
            // Cells at whole places of a grid of halves a decade would do; evenly from end to end is as good.
            std::vector<double> corners_hz;
            const double decades = std::log10(to_hz / from_hz * beyond * beyond);
            const int steps = static_cast<int>(std::ceil(decades * half_cells_per_decade / 2.0));
            for (int i = 0; i <= steps; ++i) {
                corners_hz.push_back(
                    from_hz / beyond *
                    std::pow(to_hz / from_hz * beyond * beyond, i / static_cast<double>(steps)));
            }
            const RlLadder ladder = ladder_with(corners_hz, frequencies_hz, values, with_resistor);
            const double reached = worst_error(ladder, frequencies_hz, values);
            if (reached < best.worst_error) best = {ladder, reached};
            if (best.worst_error <= error) return best;
        }
    }
    return best;
}

}  // namespace assay::analysis
