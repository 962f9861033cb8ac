// Thiele-Small parameters of a driver from its impedance curves, each with its doubt by source.
//
// Relations: R.H. Small, JAES 20(5), 1972 (from memory; held against worked examples by the tests). fs is
// where the mechanics are real, Qms the effective one of the peak, Cms = 1/(ws^2 Mms) the compliance at fs,
// Le the coil's reactance at 1 kHz over 2 pi 1000 Hz. No correction for the air that moves with the cone.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analysis/driver/air.h"
#include "analysis/driver/model_choice.h"
#include "analysis/uncertainty/quantity.h"

namespace assay::analysis {

/// Standard uncertainties, all re their value unless the name has a unit.
struct DriverDoubts {
    double area = 0.02;
    double mass_scale = 0.01;  // of the scale that weighed: shared by all masses
    double box_volume = 0.01;  // of each box
    double temperature_c = 2.0;
    double pressure_hpa = 15.0;
    double humidity_percent = 20.0;
};

struct DriverInputs {
    std::string test{};  // id of the test that asks, for sources
    std::vector<LoadedCurve> curves{};
    std::optional<MeterResistance> meter{};
    std::optional<double> area_m2{};
    Air air{};
    DriverDoubts doubts{};
};

/// What a person should know of the result.
struct Remark {
    std::string code{};
    std::string text{};
    std::string advice{};
};

struct DriverResult {
    std::vector<std::pair<std::string, Quantity>> quantities{};  // by name, in the order of reading
    std::vector<std::pair<std::string, Absent>> absent{};
    std::vector<Remark> remarks{};
    /// Textbook values beside them: name, value, and what the same reading of the fitted curve gives.
    struct Textbook {
        std::string name{};
        double value = 0.0;
        double expected = 0.0;
    };
    std::vector<Textbook> textbook{};

    FitInputs fitted{};    // the curves that the fit used, in the band that it used
    ModelChoice choice{};  // empty: no fit
    double from_hz = 0.0;
    double to_hz = 0.0;
};

DriverResult driver_parameters(const DriverInputs& inputs);

}  // namespace assay::analysis
