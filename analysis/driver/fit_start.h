// Where a fit begins: a driver read off the curves by their peaks, good to some ten percent.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "analysis/driver/fit.h"
#include "analysis/driver/three_point.h"

namespace assay::analysis {

/// Magnitude of a curve's points.
std::vector<MagnitudePoint> magnitude_of(const ImpedanceCurve& curve);

/// The resonance peak by the real part of the impedance, which a coil without loss does not touch.
std::optional<Peak> resonance_of(const ImpedanceCurve& curve);

struct StartReading {
    FittedDriver driver{};                     // with a power-law coil
    double mms_kg = 0.0;                       // 0: no loaded curve
    std::vector<std::optional<Peak>> peaks{};  // of each curve
};

/// Nothing when no free-air curve has a peak.
std::optional<StartReading> read_start(const FitInputs& inputs);

/// Parameters of a model to begin with; several where the coil may be split in more than one way.
std::vector<Eigen::VectorXd> starts_for(const FitModel& model, const FitInputs& inputs,
                                        const StartReading& reading);

}  // namespace assay::analysis
