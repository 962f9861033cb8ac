// A cause that moves a whole curve, and is stated, is not taken for a fault of the model.
#include <gtest/gtest.h>

#include "analysis/driver/parameters.h"
#include "synthetic.h"

namespace assay::analysis {
namespace {

using test::Complex;
using test::Mechanics;

// Z = R Vd / (Vg - Vd): an error e of the inputs' ratio makes Z (1 + Z / R) e of it, to first order.
constexpr double series_ohm = 22.0;
constexpr double ratio_uncertainty = 0.003;

Complex by_ratio(Complex z) {
    return ratio_uncertainty * z * (1.0 + z / series_ohm);
}

/// Free air and mass, moved by so many standard uncertainties of the ratio, which is stated or not.
DriverResult fitted(const Mechanics& m, double sigmas, bool stated) {
    DriverInputs inputs;
    inputs.test = "ts";
    inputs.area_m2 = m.sd_m2;
    inputs.curves = {test::free_air(m, 1e-5), test::with_mass(m, 0.04, 1e-5)};
    for (LoadedCurve& taken : inputs.curves) {
        const double center = m.plain_hz() / (taken.free_air() ? 1.0 : std::sqrt(1.0 + 0.04 / m.mms_kg));
        const double kg = taken.added_mass_kg;
        taken.curve = test::curve_of(
            [&](double f) {
                const Complex z = m.z(f, kg);
                return z + sigmas * by_ratio(z);
            },
            center, 1e-5, taken.free_air() ? 1 : 2);
        if (!stated) continue;
        std::vector<Complex>& changes = taken.curve.systematic["jig:ratio"];
        for (const ImpedancePoint& point : taken.curve.points) changes.push_back(by_ratio(point.z_ohm));
    }
    return driver_parameters(inputs);
}

const Quantity& qts_of(const DriverResult& result) {
    for (const auto& [key, value] : result.quantities) {
        if (key == "qts") return value;
    }
    static const Quantity none{};
    return none;
}

Mechanics power_driver() {
    Mechanics m;
    m.coil = test::power_coil(0.01, 0.7);
    return m;
}

// Q's of the worked driver, computed elsewhere from the closed forms: Qms 7.1466, Qes 0.59191.
TEST(StatedCause, IsNoMisfit) {
    const double truth = 7.1466 * 0.59191 / (7.1466 + 0.59191);
    for (const double sigmas : {1.0, -1.0}) {
        const DriverResult result = fitted(power_driver(), sigmas, true);
        ASSERT_FALSE(result.choice.tried.empty());
        const Fit& best = result.choice.best();
        const Quantity& qts = qts_of(result);
        const double u = qts.expanded_uncertainty();
        std::printf("%+.0f sigma: floor %.2g, correlation length %.2f, Qts off %.4f %%, U %.4f %%\n", sigmas,
                    best.floor, best.correlation_length, 100.0 * (qts.value / truth - 1.0),
                    100.0 * u / truth);
        EXPECT_LT(best.correlation_length, 3.0);
        EXPECT_LT(best.floor, 3e-5);
        EXPECT_EQ(best.layout.model.coil, CoilKind::power_law);
        // The truth stands above with five digits.
        EXPECT_NEAR(qts.value, truth, u + 2e-5);
        EXPECT_LT(u, 0.01 * truth);
    }
}

TEST(StatedCause, WhatIsNotStatedIsMisfit) {
    const DriverResult result = fitted(power_driver(), 1.0, false);
    ASSERT_FALSE(result.choice.tried.empty());
    EXPECT_GT(result.choice.best().correlation_length, 3.0);
    EXPECT_GT(result.choice.best().floor, 3e-5);
}

// A cause explains no more than its doubt makes likely.
TEST(StatedCause, FarBeyondItsDoubtIsMisfit) {
    const DriverResult result = fitted(power_driver(), 20.0, true);
    ASSERT_FALSE(result.choice.tried.empty());
    EXPECT_GT(result.choice.best().correlation_length, 3.0);
    EXPECT_GT(result.choice.best().floor, 3e-5);
}

// A coil of another family: a power that falls from 0.75 to 0.65 over the audible range.
TEST(StatedCause, AnotherCoilIsStillMisfit) {
    Mechanics m;
    m.coil = [](Complex s) { return 0.007 * std::pow(s, 0.75) / std::pow(1.0 + s / 6000.0, 0.1); };
    for (const bool stated : {false, true}) {
        const DriverResult result = fitted(m, 0.0, stated);
        ASSERT_FALSE(result.choice.tried.empty());
        const Fit& best = result.choice.best();
        std::printf("another coil, cause %s: floor %.2g, correlation length %.2f, U(Qts) %.4f %%\n",
                    stated ? "stated" : "not stated", best.floor, best.correlation_length,
                    100.0 * qts_of(result).expanded_uncertainty() / qts_of(result).value);
        EXPECT_GT(best.correlation_length, 3.0);
        EXPECT_GT(best.floor, 1e-4);
    }
}

}  // namespace
}  // namespace assay::analysis
