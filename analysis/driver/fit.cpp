#include "analysis/driver/fit.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <unsupported/Eigen/NonLinearOptimization>

#include "analysis/driver/fit_weights.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;
using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Stiffness of a box re that of the suspension at fs. Its derivatives by log fs and log Mms are -2 and -1
/// times itself.
double box_stiffness(double air_spring, double box_m3, double mms_kg, double fs_hz) {
    const double omega = two_pi * fs_hz;
    return air_spring / box_m3 / (mms_kg * omega * omega);
}

/// Value and row of derivatives at one point.
class Model {
  public:
    Model(const FitLayout& layout, const FitInputs& inputs) : layout_(&layout), inputs_(&inputs) {}

    void set(const VectorXd& parameters) {
        driver_ = driver_of(*layout_, parameters);
        mms_kg_ = layout_->mass >= 0 ? mms_kg_of(*layout_, parameters) : 1.0;
        loadings_.clear();
        for (std::size_t c = 0; c < inputs_->curves.size(); ++c)
            loadings_.push_back(loading_of(*layout_, parameters, *inputs_, c));
    }

    Complex value(std::size_t curve, double frequency_hz) const {
        return impedance_at(driver_, loadings_[curve], frequency_hz);
    }

    Complex row(std::size_t curve, double frequency_hz, std::vector<Complex>& by) const {
        std::fill(by.begin(), by.end(), Complex{});
        const auto at = [&by](Index i) -> Complex& { return by[static_cast<std::size_t>(i)]; };
        const Loading& loading = loadings_[curve];
        const LoadedCurve& taken = inputs_->curves[curve];
        std::array<Complex, most_coil_parameters> coil_by{};
        const Complex coil = coil_impedance(driver_.coil, frequency_hz, coil_by);
        MotionalDerivatives mechanical_by;
        const Complex mechanical = mechanical_impedance(driver_.cone, loading, frequency_hz, mechanical_by);
        const Complex mobility = std::conj(mechanical) / std::norm(mechanical);
        const Complex motional = driver_.re_ohm / driver_.cone.qes * mobility;
        const Complex chain = -motional * mobility;

        at(FitLayout::re) = driver_.re_ohm + motional;
        at(FitLayout::fs) = chain * mechanical_by.by_log_fs;
        at(FitLayout::qms) = chain * mechanical_by.by_log_qms;
        at(FitLayout::qes) = -motional;
        for (std::size_t i = 0; i < coil_parameter_count(driver_.coil.kind); ++i)
            at(FitLayout::coil + static_cast<Index>(i)) = coil_by[i];
        if (layout_->creep >= 0) {
            const bool slope = layout_->model.suspension == SuspensionKind::loss_slope;
            at(layout_->creep) = chain * (slope ? mechanical_by.by_slope : mechanical_by.by_lambda);
        }
        if (layout_->mass >= 0) {
            Complex by_log_mass{};
            if (taken.added_mass_kg > 0.0)
                by_log_mass -= chain * mechanical_by.by_mass * (taken.added_mass_kg / mms_kg_);
            if (taken.box_m3 > 0.0) {
                const Complex by_log_stiffness = chain * mechanical_by.by_stiffness * loading.stiffness;
                by_log_mass -= by_log_stiffness;
                if (layout_->spring >= 0) at(layout_->spring) = by_log_stiffness;
                at(FitLayout::fs) -= 2.0 * by_log_stiffness;
            }
            at(layout_->mass) = by_log_mass;
        }
        if (layout_->box_mass[curve] >= 0) {
            at(layout_->box_mass[curve]) = chain * mechanical_by.by_mass;
            at(layout_->box_loss[curve]) = chain * mechanical_by.by_loss;
        }
        return driver_.re_ohm + coil + motional;
    }

  private:
    const FitLayout* layout_;
    const FitInputs* inputs_;
    FittedDriver driver_{};
    double mms_kg_ = 1.0;
    std::vector<Loading> loadings_{};
};

/// One row for the real and one for the imaginary part of each point, then one for the meter.
struct Problem {
    using Scalar = double;
    using InputType = VectorXd;
    using ValueType = VectorXd;
    using JacobianType = MatrixXd;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };

    const FitLayout* layout = nullptr;
    const FitInputs* inputs = nullptr;
    VectorXd weights{};

    int values() const { return static_cast<int>(weights.size()); }

    int operator()(const VectorXd& x, VectorXd& residual) const {
        Model model(*layout, *inputs);
        model.set(x);
        Index row = 0;
        for (std::size_t c = 0; c < inputs->curves.size(); ++c) {
            for (const ImpedancePoint& point : inputs->curves[c].curve.points) {
                const Complex off = model.value(c, point.frequency_hz) - point.z_ohm;
                residual[row] = off.real() * weights[row];
                residual[row + 1] = off.imag() * weights[row + 1];
                row += 2;
            }
        }
        if (inputs->meter) {
            residual[row] = (x[FitLayout::re] - std::log(inputs->meter->ohm)) * weights[row];
            ++row;
        }
        if (layout->spring >= 0) residual[row] = x[layout->spring] * weights[row];
        // A step into nonsense is a bad step, not an error.
        for (Index i = 0; i < residual.size(); ++i) {
            if (!std::isfinite(residual[i])) residual[i] = 1e6;
        }
        return 0;
    }

    int df(const VectorXd& x, MatrixXd& jacobian) const {
        Model model(*layout, *inputs);
        model.set(x);
        std::vector<Complex> by(static_cast<std::size_t>(layout->count));
        Index row = 0;
        for (std::size_t c = 0; c < inputs->curves.size(); ++c) {
            for (const ImpedancePoint& point : inputs->curves[c].curve.points) {
                model.row(c, point.frequency_hz, by);
                for (Index i = 0; i < layout->count; ++i) {
                    const Complex d = by[static_cast<std::size_t>(i)];
                    const bool sane = std::isfinite(d.real()) && std::isfinite(d.imag());
                    jacobian(row, i) = sane ? d.real() * weights[row] : 0.0;
                    jacobian(row + 1, i) = sane ? d.imag() * weights[row + 1] : 0.0;
                }
                row += 2;
            }
        }
        if (inputs->meter) {
            jacobian.row(row).setZero();
            jacobian(row, FitLayout::re) = weights[row];
            ++row;
        }
        if (layout->spring >= 0) {
            jacobian.row(row).setZero();
            jacobian(row, layout->spring) = weights[row];
        }
        return 0;
    }
};

/// Model less data and its derivatives, not weighted, where the fit stands.
FitMiss miss_at(const Problem& weighted, const VectorXd& x, const MatrixXd& systematic) {
    Problem problem = weighted;
    problem.weights.setOnes();
    FitMiss miss{VectorXd(problem.values()), MatrixXd(problem.values(), x.size()), systematic};
    problem(x, miss.off);
    problem.df(x, miss.jacobian);
    return miss;
}

}  // namespace

FitLayout fit_layout(const FitModel& model, const FitInputs& inputs) {
    FitLayout layout;
    layout.model = model;
    Index next = FitLayout::coil + static_cast<Index>(coil_parameter_count(model.coil));
    if (model.suspension != SuspensionKind::plain) layout.creep = next++;
    bool masses = false;
    bool boxes = false;
    for (const LoadedCurve& taken : inputs.curves) {
        masses = masses || taken.added_mass_kg > 0.0;
        boxes = boxes || taken.box_m3 > 0.0;
    }
    if (masses || boxes) layout.mass = next++;
    if (masses && boxes && inputs.air_spring_doubt > 0.0) layout.spring = next++;
    for (const LoadedCurve& taken : inputs.curves) {
        layout.box_mass.push_back(taken.box_m3 > 0.0 ? next++ : -1);
        layout.box_loss.push_back(taken.box_m3 > 0.0 ? next++ : -1);
    }
    layout.count = next;
    return layout;
}

FittedDriver driver_of(const FitLayout& layout, const VectorXd& x) {
    FittedDriver driver;
    driver.re_ohm = std::exp(x[FitLayout::re]);
    driver.cone.fs_hz = std::exp(x[FitLayout::fs]);
    driver.cone.qms = std::exp(x[FitLayout::qms]);
    driver.cone.qes = std::exp(x[FitLayout::qes]);
    driver.cone.exponential_creep = layout.model.suspension == SuspensionKind::exponential_creep;
    if (layout.creep >= 0) {
        const bool slope = layout.model.suspension == SuspensionKind::loss_slope;
        (slope ? driver.cone.loss_slope : driver.cone.creep_lambda) = x[layout.creep];
    }
    // A part that the data do not ask for runs off towards nothing or everything; it stays a number, so that
    // the model can be written down and made into a circuit. 1e-12 H or ohm is nothing beside a coil.
    constexpr double farthest = 27.6;
    std::array<double, most_coil_parameters> coil{};
    for (std::size_t i = 0; i < coil_parameter_count(layout.model.coil); ++i)
        coil[i] = std::exp(std::clamp(x[FitLayout::coil + static_cast<Index>(i)], -farthest, farthest));
    driver.coil = coil_from_parameters(layout.model.coil, coil);
    return driver;
}

double mms_kg_of(const FitLayout& layout, const VectorXd& x) {
    return std::exp(x[layout.mass]);
}

double air_spring_of(const FitLayout& layout, const VectorXd& x, const FitInputs& inputs) {
    return inputs.air_spring_n_m2 * (layout.spring >= 0 ? std::exp(x[layout.spring]) : 1.0);
}

Loading loading_of(const FitLayout& layout, const VectorXd& x, const FitInputs& inputs, std::size_t curve) {
    Loading loading;
    const LoadedCurve& taken = inputs.curves[curve];
    if (taken.free_air()) return loading;
    const double mms_kg = mms_kg_of(layout, x);
    if (taken.added_mass_kg > 0.0) loading.mass = taken.added_mass_kg / mms_kg;
    if (taken.box_m3 > 0.0) {
        loading.mass += x[layout.box_mass[curve]];
        loading.loss = x[layout.box_loss[curve]];
        loading.stiffness =
            box_stiffness(air_spring_of(layout, x, inputs), taken.box_m3, mms_kg, std::exp(x[FitLayout::fs]));
    }
    return loading;
}

Complex fitted_impedance(const FitLayout& layout, const VectorXd& x, const FitInputs& inputs,
                         std::size_t curve, double frequency_hz) {
    return impedance_at(driver_of(layout, x), loading_of(layout, x, inputs, curve), frequency_hz);
}

Fit fit_driver(const FitModel& model, const FitInputs& inputs, const VectorXd& start) {
    Fit fit;
    fit.layout = fit_layout(model, inputs);
    fit.parameters = start;
    Problem problem;
    problem.layout = &fit.layout;
    problem.inputs = &inputs;
    const Index rows = row_count(fit.layout, inputs);
    const std::map<std::string, VectorXd> causes = systematic_rows(inputs, rows);
    MatrixXd systematic(rows, static_cast<Index>(causes.size()));
    Index column = 0;
    for (const auto& [source, change] : causes) systematic.col(column++) = change;
    ModelError error{0.02, 1.0};
    FitMiss miss;
    // The first pass finds the place, with weights that forgive; the others settle weights and place
    // together.
    for (int pass = 0; pass < 5; ++pass) {
        const VectorXd weights = fit_weights(fit.layout, inputs, error.floor, error.correlation_length);
        if (pass > 0) {
            // Weights that only grew all alike have the same optimum.
            const VectorXd change = weights.cwiseQuotient(problem.weights);
            if (change.maxCoeff() < 1.02 * change.minCoeff()) break;
        }
        problem.weights = weights;
        Eigen::LevenbergMarquardt<Problem> search(problem);
        search.parameters.maxfev = pass == 0 ? 100 : 30;
        search.parameters.ftol = 1e-11;
        search.parameters.xtol = 1e-10;
        const auto status = search.minimize(fit.parameters);
        fit.converged = status != Eigen::LevenbergMarquardtSpace::TooManyFunctionEvaluation &&
                        status != Eigen::LevenbergMarquardtSpace::ImproperInputParameters &&
                        fit.parameters.allFinite();
        if (!fit.parameters.allFinite()) return fit;
        miss = miss_at(problem, fit.parameters, systematic);
        error = model_error(fit.layout, inputs, miss, problem.weights, error);
    }
    fit.floor = error.floor;
    fit.correlation_length = error.correlation_length;
    fit.weights = fit_weights(fit.layout, inputs, fit.floor, fit.correlation_length);
    const UnexplainedResidual left = unexplained_residual(miss, fit.weights, fit.correlation_length);
    fit.log_likelihood = -0.5 * fit.correlation_length * left.causes_square;
    double relative = 0.0;
    double unexplained = 0.0;
    Index row = 0;
    for (const LoadedCurve& taken : inputs.curves) {
        for (const ImpedancePoint& point : taken.curve.points) {
            const double magnitude_square = std::norm(point.z_ohm);
            const double variance = 1.0 / (fit.weights[row] * fit.weights[row]);
            const double square = left.rows.segment<2>(row).squaredNorm();
            fit.log_likelihood -= std::log(variance) + 0.5 * square;
            relative += miss.off.segment<2>(row).squaredNorm() / magnitude_square;
            unexplained += square * variance / magnitude_square;
            row += 2;
        }
    }
    const Index data_rows = row;
    fit.points = static_cast<std::size_t>(data_rows / 2);
    const double count = std::max(static_cast<double>(fit.points), 1.0);
    fit.relative_residual = std::sqrt(relative / count);
    fit.unexplained_residual = std::sqrt(unexplained / count);

    const MatrixXd jacobian = fit.weights.asDiagonal() * miss.jacobian;
    // A part that the data do not ask for has no derivative left, and nothing would bound its doubt. That
    // each logarithm is known to about one beforehand does: to one that the data know to 1 % it makes 1e-4 of
    // its doubt.
    MatrixXd normal = jacobian.transpose() * jacobian;
    normal.diagonal().array() += 1.0;
    const Eigen::LDLT<MatrixXd> inverse(normal);
    fit.sensitivity = inverse.solve(jacobian.transpose());
    // What is known beside the curves is a source of its own.
    const MatrixXd data_part = fit.sensitivity.leftCols(data_rows);
    fit.scatter = fit.correlation_length * data_part * data_part.transpose();
    fit.converged = fit.converged && fit.scatter.allFinite();
    return fit;
}

}  // namespace assay::analysis
