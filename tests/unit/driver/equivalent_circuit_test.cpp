// Circuits of fitted drivers: the parts against the closed forms of Small (1972), and the curve of the
// circuit against the model that it stands for (tests/reference/spice_export_test.py has ngspice say the
// same).
#include "analysis/driver/equivalent_circuit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace assay::analysis {
namespace {

// What export promises: 0.01 %.
constexpr double promised = 1e-4;

TEST(RlLadder, PowersOfFrequencyWithinAHundredThousandth) {
    for (const double n : {0.3, 0.5, 0.62, 0.7, 0.8, 0.95}) {
        const auto wanted = [&](double f) {
            return 0.02 * std::pow(std::complex<double>(0.0, 2.0 * std::numbers::pi * f), n);
        };
        const LadderFit fit = fit_rl_ladder(wanted, 1.0, 20000.0, 1e-5, true);
        std::printf("n %.2f: %zu cells, worst error %.1e\n", n, fit.ladder.cells.size(), fit.worst_error);
        EXPECT_LE(fit.worst_error, 1e-5);
        EXPECT_GT(fit.ladder.r_ohm, 0.0);  // else inductors alone would close a loop
        for (const RlCell& cell : fit.ladder.cells) {
            EXPECT_GT(cell.r_ohm, 0.0);
            EXPECT_GT(cell.l_h, 0.0);
        }
        // Between the points of the fit as well.
        for (double f = 1.07; f < 20000.0; f *= 1.013) {
            EXPECT_LE(std::abs(impedance_at(fit.ladder, f) / wanted(f) - 1.0), 2e-5) << f;
        }
    }
}

TEST(EquivalentCircuit, PlainDriverHasTheTextbookParts) {
    // Mms 56.3 g, Cms 0.429 mm/N, Bl 10.42, Re 5.61, Rms 1.6030 kg/s: Cmes = Mms/Bl^2 = 518.53 uF,
    // Lces = Bl^2 Cms = 46.579 mH, Res = Bl^2/Rms = 67.734 ohm.
    FittedDriver driver;
    driver.re_ohm = 5.61;
    driver.coil = {.kind = CoilKind::inductance, .l_h = 1.37e-3};
    driver.cone = {32.3845, 7.1466, 0.59191, 0.0};
    const EquivalentCircuit circuit = equivalent_circuit(driver, 1.0, 20000.0);
    EXPECT_NEAR(circuit.cone_f, 518.53e-6, 2e-5 * 518.53e-6);  // the vector has five digits
    EXPECT_NEAR(circuit.suspension.l_h, 46.579e-3, 2e-5 * 46.579e-3);
    ASSERT_TRUE(circuit.cone_loss_ohm.has_value());
    EXPECT_NEAR(*circuit.cone_loss_ohm, 67.734, 2e-5 * 67.734);
    EXPECT_EQ(circuit.coil_series_h, 1.37e-3);
    EXPECT_TRUE(circuit.coil.cells.empty());
    EXPECT_LE(circuit.worst_error, 1e-12);
}

TEST(EquivalentCircuit, EveryCoilWithAndWithoutCreepComesBack) {
    const std::vector<Coil> coils{
        {.kind = CoilKind::inductance, .l_h = 0.5e-3},
        {.kind = CoilKind::loss_circuit, .l_h = 0.3e-3, .l2_h = 1.1e-3, .r2_ohm = 9.0},
        {.kind = CoilKind::double_loss_circuit,
         .l_h = 0.2e-3,
         .l2_h = 0.4e-3,
         .r2_ohm = 22.0,
         .l3_h = 1e-3,
         .r3_ohm = 5.0},
        {.kind = CoilKind::power_law, .k = 0.05, .n = 0.65},
        {.kind = CoilKind::power_law, .k = 0.0027, .n = 0.8},
        {.kind = CoilKind::bounded_power_law, .l_h = 10e-3, .k = 0.13, .n = 0.651},
        {.kind = CoilKind::semi_inductance, .l_h = 0.2e-3, .l2_h = 5e-3, .k = 0.1, .n = 0.5},
    };
    for (const Coil& coil : coils) {
        for (const Cone& cone :
             {Cone{32.4, 7.15, 0.59, 0.0}, Cone{32.4, 4.5, 0.59, 0.12}, Cone{17.3, 3.0, 0.4, 0.3},
              Cone{900.0, 2.0, 1.1, 0.0}, Cone{80.0, 3.0, 0.9, 0.05}}) {
            const FittedDriver driver{5.6, coil, cone};
            const EquivalentCircuit circuit = equivalent_circuit(driver, 1.0, 20000.0);
            std::printf("%-20s lambda %.2f: %2zu + %2zu cells, worst error %.1e\n",
                        coil_name(coil.kind).c_str(), cone.creep_lambda, circuit.coil.cells.size(),
                        circuit.suspension.cells.size(), circuit.worst_error);
            EXPECT_LE(circuit.worst_error, promised);
        }
    }
}

}  // namespace
}  // namespace assay::analysis
