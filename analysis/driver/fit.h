// A driver fitted to its impedance curves, all at once: free air, masses on the cone, closed boxes. Complex
// least squares (Eigen's Levenberg-Marquardt), weighted with the scatter of the data and with a floor that
// stands for what the model cannot describe: the floor is what makes the residual as large as its weights
// say. Parameters are logarithms where they must be positive. All curves share Re, coil, fs, Q's, creep and
// Mms; each box has a loss and a change of moving mass of its own (its air loads the cone differently, Small
// 1972).
//
// Range: fs from 15 Hz to 2 kHz, Qms from 1 to 15, Re from 1 to 20 ohm; a curve should reach from fs/2 to 4
// fs.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "analysis/driver/driver_model.h"
#include "analysis/driver/impedance_curve.h"

namespace assay::analysis {

/// One curve and what was done to the driver while it was taken.
struct LoadedCurve {
    std::string test{};  // id, for messages and sources
    ImpedanceCurve curve{};
    double added_mass_kg = 0.0;
    double box_m3 = 0.0;  // 0: free air

    bool free_air() const { return added_mass_kg == 0.0 && box_m3 == 0.0; }
};

/// Resistance by meter, as a measurement beside the curves.
struct MeterResistance {
    double ohm = 0.0;
    double standard_uncertainty_ohm = 0.0;
};

struct FitInputs {
    std::vector<LoadedCurve> curves{};
    std::optional<MeterResistance> meter{};
    /// rho c^2 Sd^2, newton per metre times cubic metre. Any number above zero will do for boxes alone where
    /// only Vas is asked.
    double air_spring_n_m2 = 1.0;
    /// How well that is known beside the masses, as a share: where both masses and boxes are there, it is
    /// fitted, with this as a measurement of its own. A wrong area must not bend fs and the Q's.
    double air_spring_doubt = 0.0;
};

enum class SuspensionKind { plain, logarithmic_creep, exponential_creep, loss_slope };

struct FitModel {
    CoilKind coil = CoilKind::inductance;
    SuspensionKind suspension = SuspensionKind::plain;
};

/// Where the parameters stand in the vector that is fitted.
struct FitLayout {
    FitModel model{};
    Eigen::Index creep = -1;  // of lambda, or of the slope of the loss; -1: a plain suspension
    Eigen::Index mass = -1;
    Eigen::Index spring = -1;              // log of the air spring re the stated one
    std::vector<Eigen::Index> box_mass{};  // by curve; -1 for those in free air
    std::vector<Eigen::Index> box_loss{};
    Eigen::Index count = 0;

    static constexpr Eigen::Index re = 0;
    static constexpr Eigen::Index fs = 1;
    static constexpr Eigen::Index qms = 2;
    static constexpr Eigen::Index qes = 3;
    static constexpr Eigen::Index coil = 4;
};

FitLayout fit_layout(const FitModel& model, const FitInputs& inputs);

/// What the vector says.
FittedDriver driver_of(const FitLayout& layout, const Eigen::VectorXd& parameters);
double mms_kg_of(const FitLayout& layout, const Eigen::VectorXd& parameters);
Loading loading_of(const FitLayout& layout, const Eigen::VectorXd& parameters, const FitInputs& inputs,
                   std::size_t curve);

/// The boxes' air spring as fitted.
double air_spring_of(const FitLayout& layout, const Eigen::VectorXd& parameters, const FitInputs& inputs);

/// The fitted curve of one test.
std::complex<double> fitted_impedance(const FitLayout& layout, const Eigen::VectorXd& parameters,
                                      const FitInputs& inputs, std::size_t curve, double frequency_hz);

struct Fit {
    FitLayout layout{};
    Eigen::VectorXd parameters{};
    double floor = 0.0;              // model error, re |Z|, of each of real and imaginary part
    double relative_residual = 0.0;  // root mean square of |fit - data| / |data|
    /// The same without the part that the curves' systematic causes explain. So are floor, correlation length
    /// and likelihood below: see fit_weights.h.
    double unexplained_residual = 0.0;
    /// Points for one independent one: above 1 where neighbours' residuals hang together.
    double correlation_length = 1.0;
    double log_likelihood = 0.0;
    std::size_t points = 0;
    bool converged = false;

    /// d parameters / d (weighted residual), by columns; rows of the data first, then the meter's,
    /// then the air spring's.
    Eigen::MatrixXd sensitivity{};
    Eigen::VectorXd weights{};  // of each row
    Eigen::MatrixXd scatter{};  // covariance from the scatter of the data and the misfit
};

/// Starts at `start`, which is as long as the layout says. Data that claim no scatter are weighted by the
/// floor alone.
Fit fit_driver(const FitModel& model, const FitInputs& inputs, const Eigen::VectorXd& start);

}  // namespace assay::analysis
