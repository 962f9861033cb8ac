// The parameters as plain functions of what the fit found, of area and of air; and what each cause of doubt
// does to them.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "analysis/driver/parameters.h"

namespace assay::analysis {

/// In the order of reading.
enum class Parameter {
    fs,
    re,
    res,
    qms,
    qes,
    qts,
    le,
    mms,
    cms,
    rms,
    bl,
    vas,
    sd,
    efficiency,
    sensitivity_1w,
    sensitivity_2v83,
    count
};

constexpr std::size_t parameter_count = static_cast<std::size_t>(Parameter::count);
using ParameterValues = std::array<double, parameter_count>;

struct ParameterName {
    const char* name;
    const char* unit;
};
ParameterName parameter_name(Parameter parameter);

/// Area and air as the values take them; without an area, what needs one is meaningless.
struct Surroundings {
    double area_m2 = 1.0;
    Air air{};

    double air_spring() const { return bulk_modulus_pa(air) * area_m2 * area_m2; }
};

/// What needs Mms is meaningless when the layout has no mass.
ParameterValues parameter_values(const FitLayout& layout, const Eigen::VectorXd& parameters,
                                 const Surroundings& surroundings);

/// One cause of doubt, at one standard uncertainty.
struct DoubtCause {
    std::string source{};
    Eigen::VectorXd parameters{};  // what it does to the fit
    Surroundings up{};             // area and air with it, and with its opposite
    Surroundings down{};
};

/// Every systematic cause: those of the curves, the meter, masses, boxes, area, air.
std::vector<DoubtCause> doubt_causes(const DriverInputs& inputs, const FitInputs& fitted, const Fit& fit,
                                     const Surroundings& surroundings);

/// Values with contributions: the causes, the scatter, and the choice among the models within reach: by how
/// likely the data make each, or, where none describes the data, by the one that lies farthest.
std::array<Quantity, parameter_count> parameter_quantities(const DriverInputs& inputs,
                                                           const FitInputs& fitted, const ModelChoice& choice,
                                                           const Surroundings& surroundings);

}  // namespace assay::analysis
