#include "analysis/driver/three_point.h"

#include <gtest/gtest.h>

#include <functional>

#include "synthetic.h"

namespace assay::analysis {
namespace {

using test::Complex;

std::vector<MagnitudePoint> read(const std::function<Complex(double)>& z, double from, double to) {
    std::vector<MagnitudePoint> curve;
    for (int i = 0; i <= 4000; ++i) {
        const double f = from * std::pow(to / from, i / 4000.0);
        curve.push_back({f, std::abs(z(f))});
    }
    return curve;
}

std::function<Complex(double)> driver(double re, double fs, double qms, double qes,
                                      const std::function<Complex(Complex)>& coil) {
    return [=](double f) {
        const Complex q(0.0, f / fs);
        return re + coil(Complex(0.0, 2.0 * std::numbers::pi * f)) + re / qes / (q + 1.0 / qms + 1.0 / q);
    };
}

const auto no_coil = [](Complex) { return Complex{}; };

// Exact vectors: for a peak without coil f1 f2 = fs^2 and the Qms formula are identities (Small 1972).
TEST(ThreePoint, ExactVectors) {
    const auto first = three_point(read(driver(5.6, 32.4, 7.15, 0.59, no_coil), 8.0, 150.0), 5.6).value;
    ASSERT_TRUE(first);
    EXPECT_NEAR(first->f1_hz, 25.2167, 0.0006);
    EXPECT_NEAR(first->f2_hz, 41.6295, 0.0006);
    EXPECT_NEAR(first->zmax_ohm, 73.4644, 0.002);
    EXPECT_NEAR(first->qms, 7.15, 0.001);
    EXPECT_NEAR(first->qes, 0.59, 0.0001);
    const auto second = three_point(read(driver(3.2, 80.0, 3.0, 0.9, no_coil), 20.0, 400.0), 3.2).value;
    ASSERT_TRUE(second);
    EXPECT_NEAR(second->f1_hz, 56.9225, 0.002);
    EXPECT_NEAR(second->f2_hz, 112.4336, 0.002);
    EXPECT_NEAR(second->zmax_ohm, 13.8667, 0.001);
}

// The method's own error under a coil, tabled by an independent computation.
TEST(ThreePoint, ErrorOfTheCoil) {
    struct Row {
        double re, fs, qms, qes;
        std::function<Complex(Complex)> coil;
        double told_fs, asymmetry, told_qms, told_qes;
    };
    const auto inductance = [](double l) { return [l](Complex s) { return s * l; }; };
    for (const Row& row :
         {Row{5.6, 32.4, 7.15, .59, inductance(1.37e-3), 32.392, -.0032, 7.196, .5938},
          Row{5.6, 32.4, 7.15, .59, test::power_coil(.05, .65), 32.363, -.0140, 7.205, .5872},
          Row{5.6, 32.4, 7.15, .59, test::power_coil(.10, .65), 32.329, -.0275, 7.195, .5788},
          Row{3.2, 80, 3, .9, inductance(.5e-3), 79.81, -.0100, 3.064, .9190},
          Row{3.2, 80, 3, .9, test::power_coil(.02, .7), 79.12, -.0410, 2.949, .8227},
          Row{1.8, 28, 5, .5, inductance(2e-3), 27.95, -.0167, 5.163, .5161}}) {
        const auto told =
            three_point(read(driver(row.re, row.fs, row.qms, row.qes, row.coil), row.fs / 5, row.fs * 5),
                        row.re)
                .value;
        ASSERT_TRUE(told);
        EXPECT_NEAR(told->fs_hz / row.told_fs, 1.0, 3e-4);
        EXPECT_NEAR(told->asymmetry, row.asymmetry, 4e-4);
        EXPECT_NEAR(told->qms / row.told_qms, 1.0, 1e-3);
        EXPECT_NEAR(told->qes / row.told_qes, 1.0, 1e-3);
    }
}

// A long coil: the magnitude never falls to the geometric mean above the peak. That it does not is seen on
// the closed form itself.
TEST(ThreePoint, CoilThatHidesTheUpperPoint) {
    const auto z = driver(1.8, 28, 5, .5, test::power_coil(.3, .6));
    double highest = 0.0;
    double lowest = 1e9;
    for (double f = 20.0; f < 400.0; f *= 1.001) {
        if (f < 32.0) highest = std::max(highest, std::abs(z(f)));
        if (f > 32.0) lowest = std::min(lowest, std::abs(z(f)));
    }
    ASSERT_GT(lowest, std::sqrt(1.8 * highest));
    const auto told = three_point(read(z, 6.0, 100.0), 1.8);
    EXPECT_FALSE(told.value);
    EXPECT_NE(told.why_not.find("above the peak"), std::string::npos) << told.why_not;
}

TEST(ThreePoint, NoPeak) {
    EXPECT_FALSE(three_point(read([](double) { return Complex(4.0); }, 10.0, 100.0), 4.0).value);
}

}  // namespace
}  // namespace assay::analysis
