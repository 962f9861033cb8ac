#include <gtest/gtest.h>

#include "analysis/driver/driver_model.h"
#include "analysis/driver/fit.h"
#include "cli/measures/jig/fitted_driver.h"
#include "synthetic.h"

namespace assay::analysis {
namespace {

constexpr double degrees = 180.0 / std::numbers::pi;

// Closed form Z = Re + Bl^2/(Rms + jw Mms + 1/(jw Cms)): Re 6, Mms 20 g, Cms 1 mm/N, Rms 1.5, Bl 8, as
// computed elsewhere to the digits given.
TEST(DriverModel, ImpedanceOfTheWorkedVector) {
    FittedDriver driver;
    driver.re_ohm = 6.0;
    driver.cone = {35.588127, 2.981424, 0.419263};
    struct Row {
        double f, magnitude, phase;
    };
    for (const Row& row :
         {Row{20, 14.161705, 50.4886}, Row{100, 8.875367, -40.1655}, Row{1000, 6.027697, -4.8523}}) {
        const std::complex<double> z = impedance_at(driver, row.f);
        EXPECT_NEAR(std::abs(z) / row.magnitude, 1.0, 2e-6);
        EXPECT_NEAR(std::arg(z) * degrees, row.phase, 2e-4);
    }
    EXPECT_NEAR(driver.qts(), 0.367573, 1e-6);
    EXPECT_NEAR(driver.res_ohm() + driver.re_ohm, 48.666667, 6e-5);  // Q's rounded to 1.2e-6
}

// Against the mechanics written down by themselves, with creep, mass and box.
TEST(DriverModel, CreepMassAndBoxOfTheMechanics) {
    test::Mechanics m;
    m.coil = test::power_coil(0.02, 0.65);
    m.creep = 0.12;
    const double rho_c2 = 141911.0;
    // At its own reference the compliance is C0 (1 - j a lambda): fs, where the reactance vanishes, lies
    // above.
    const double a = std::numbers::pi / 2.0 / std::numbers::ln10;
    double fs = m.plain_hz();
    for (int i = 0; i < 100; ++i) {
        const std::complex<double> c =
            1.0 - m.creep * std::log10(std::complex<double>(0.0, fs / m.plain_hz()));
        fs = m.plain_hz() * std::sqrt((1.0 / c).real());
    }
    const std::complex<double> c =
        m.cms_m_per_n * (1.0 - m.creep * std::log10(std::complex<double>(0.0, fs / m.plain_hz())));
    const double omega = 2.0 * std::numbers::pi * fs;
    FittedDriver driver;
    driver.re_ohm = m.re_ohm;
    driver.coil = {CoilKind::power_law};
    driver.coil.k = 0.02;
    driver.coil.n = 0.65;
    driver.cone.fs_hz = fs;
    driver.cone.qms = omega * m.mms_kg / (m.rms_kg_per_s + (1.0 / c).imag() / omega);
    driver.cone.qes = omega * m.mms_kg * m.re_ohm / (m.bl_tm * m.bl_tm);
    // Lambda re its reference: C0 (1 - lambda log10(jf/f0)) is the same law re fs with another factor.
    const double shift = 1.0 - m.creep * std::log10(fs / m.plain_hz());
    driver.cone.creep_lambda = m.creep / shift;
    EXPECT_NEAR(creep_loss(driver.cone), a * driver.cone.creep_lambda, 1e-12);
    Loading mass;
    mass.mass = 0.03 / m.mms_kg;
    Loading box;
    box.stiffness = rho_c2 * m.sd_m2 * m.sd_m2 / 0.04 / (m.mms_kg * omega * omega);
    for (double f = 10.0; f < 2000.0; f *= 1.3) {
        EXPECT_NEAR(std::abs(impedance_at(driver, f) / m.z(f) - 1.0), 0.0, 1e-10) << f;
        EXPECT_NEAR(std::abs(impedance_at(driver, mass, f) / m.z(f, 0.03) - 1.0), 0.0, 1e-10) << f;
        EXPECT_NEAR(std::abs(impedance_at(driver, box, f) / m.z(f, 0.0, 0.04, rho_c2) - 1.0), 0.0, 1e-10)
            << f;
    }
}

// On its way a fit passes through laws that no suspension has; a quarter turn and more of phase is one of
// them.
TEST(DriverModel, CreepBeyondAnySuspensionStaysANumber) {
    for (const double lambda : {-5.0, 4.0, 9.0}) {
        const Cone cone{40.0, 4.0, 0.5, lambda, true, 0.4};
        MotionalDerivatives by;
        EXPECT_TRUE(std::isfinite(std::abs(mechanical_impedance(cone, Loading{}, 38.0, by)))) << lambda;
        EXPECT_TRUE(std::isfinite(std::abs(by.by_lambda))) << lambda;
    }
}

// Analytic derivatives against differences of the function itself.
TEST(DriverModel, DerivativesOfTheMechanics) {
    for (const bool exponential : {false, true}) {
        Cone cone{40.0, 4.0, 0.5, 0.11, exponential, 0.4};
        const Loading loading{0.7, 1.3, 0.05};
        for (const double f : {12.0, 38.0, 150.0}) {
            MotionalDerivatives by;
            mechanical_impedance(cone, loading, f, by);
            const auto difference = [&](double Cone::*member, bool log) {
                const double h = 1e-5;
                Cone up = cone;
                Cone down = cone;
                up.*member = log ? cone.*member * std::exp(h) : cone.*member + h;
                down.*member = log ? cone.*member * std::exp(-h) : cone.*member - h;
                return (mechanical_impedance(up, loading, f) - mechanical_impedance(down, loading, f)) /
                       (2.0 * h);
            };
            EXPECT_NEAR(std::abs(by.by_log_fs - difference(&Cone::fs_hz, true)), 0.0, 1e-7);
            EXPECT_NEAR(std::abs(by.by_log_qms - difference(&Cone::qms, true)), 0.0, 1e-7);
            EXPECT_NEAR(std::abs(by.by_lambda - difference(&Cone::creep_lambda, false)), 0.0, 1e-7);
            EXPECT_NEAR(std::abs(by.by_slope - difference(&Cone::loss_slope, false)), 0.0, 1e-7);
        }
    }
}

TEST(DriverModel, CoilsByClosedFormAndTheirDerivatives) {
    const std::complex<double> s(0.0, 2.0 * std::numbers::pi * 700.0);
    const auto beside = [](std::complex<double> a, std::complex<double> b) {
        return 1.0 / (1.0 / a + 1.0 / b);
    };
    const std::complex<double> loss = s * 0.3e-3 + beside(3.0, s * 0.5e-3);
    struct Row {
        Coil coil;
        std::complex<double> z;
    };
    for (const Row& row :
         {Row{{CoilKind::inductance, 0.4e-3}, s * 0.4e-3},
          Row{{CoilKind::loss_circuit, 0.3e-3, 0.5e-3, 3.0}, loss},
          Row{{CoilKind::double_loss_circuit, 0.3e-3, 0.5e-3, 3.0, 1e-3, 1.5}, loss + beside(1.5, s * 1e-3)},
          Row{{CoilKind::power_law, 0, 0, 0, 0, 0, 0.02, 0.66}, 0.02 * std::pow(s, 0.66)},
          Row{{CoilKind::bounded_power_law, 10e-3, 0, 0, 0, 0, 0.02, 0.66},
              beside(s * 10e-3, 0.02 * std::pow(s, 0.66))},
          Row{{CoilKind::semi_inductance, 0.1e-3, 2e-3, 0, 0, 0, 0.08, 0.5},
              s * 0.1e-3 + beside(s * 2e-3, 0.08 * std::sqrt(s))}}) {
        std::array<std::complex<double>, most_coil_parameters> by{};
        EXPECT_NEAR(std::abs(coil_impedance(row.coil, 700.0, by) / row.z - 1.0), 0.0, 1e-12);
        const auto parameters = coil_parameters(row.coil);
        for (std::size_t i = 0; i < coil_parameter_count(row.coil.kind); ++i) {
            auto up = parameters;
            auto down = parameters;
            up[i] *= std::exp(1e-5);
            down[i] *= std::exp(-1e-5);
            const std::complex<double> difference =
                (coil_impedance(coil_from_parameters(row.coil.kind, up), 700.0) -
                 coil_impedance(coil_from_parameters(row.coil.kind, down), 700.0)) /
                2e-5;
            EXPECT_NEAR(std::abs(by[i] - difference), 0.0, 1e-7) << coil_name(row.coil.kind) << " " << i;
        }
        CoilKind kind{};
        EXPECT_TRUE(coil_of_name(coil_name(row.coil.kind), kind));
        EXPECT_EQ(kind, row.coil.kind);
    }
}

TEST(DriverModel, ThroughTheConditionsOfASession) {
    FittedDriver driver;
    driver.re_ohm = 5.123456789012345;
    driver.cone = {32.3, 7.1, 0.59, 0.07, true, 0.0};
    driver.coil = {CoilKind::bounded_power_law, 10e-3, 0, 0, 0, 0, 0.02, 0.66};
    std::vector<std::pair<std::string, cli::Condition>> conditions;
    EXPECT_FALSE(cli::fitted_driver(conditions));
    cli::add_fitted_driver(driver, conditions);
    const auto back = cli::fitted_driver(conditions);
    ASSERT_TRUE(back);
    for (const double f : {10.0, 33.0, 4000.0}) EXPECT_EQ(impedance_at(*back, f), impedance_at(driver, f));
}

}  // namespace
}  // namespace assay::analysis
