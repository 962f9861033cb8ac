// Propagation, conformity and interpolation against published and outside figures.
#include <gtest/gtest.h>

#include <cmath>

#include "analysis/signal/band_power.h"
#include "analysis/signal/monotone_curve.h"
#include "analysis/uncertainty/conformity.h"
#include "analysis/uncertainty/quantity.h"

using namespace assay::analysis;

// JCGM 100:2008, H.1 (end gauge): contributions 25, 9.7, 2.9 and 16.6 nm give 32 nm, u^2 = 1002 nm^2
// (31.664 nm with the rectangular limits unrounded).
TEST(Quantity, endGaugeOfTheGuide) {
    const double length_nm = 50.000623e6;
    Quantity standard{length_nm, "nm", {{"standard", 25.0}}};
    Quantity difference_read{215.0, "nm", {{"repeat", 5.8}, {"random", 3.9}, {"systematic", 6.7}}};
    Quantity expansion{0.0, "1/K", {{"expansion", 1e-6 / std::sqrt(3.0)}}};
    Quantity temperature{0.0, "K", {{"temperature", 0.05 / std::sqrt(3.0)}}};
    const Quantity length = combine(length_nm + 215.0, "nm",
                                    {{&standard, 1.0},
                                     {&difference_read, 1.0},
                                     {&expansion, length_nm * 0.1},
                                     {&temperature, -length_nm * 11.5e-6}});
    EXPECT_NEAR(length.standard_uncertainty() * length.standard_uncertainty(), 1002.0, 1.0);
    EXPECT_NEAR(length.standard_uncertainty(), 31.664, 0.002);
}

TEST(Quantity, sharedErrorsCancelInDifferencesAndAddInSums) {
    const Quantity a{10.0, "W", {{"meter", 0.3}, {"a", 0.4}}};
    const Quantity b{12.0, "W", {{"meter", 0.3}, {"b", 0.4}}};
    // GUM 5.2.2: u^2(a +- b) = u_a^2 + u_b^2 +- 2 u(a, b), u(a, b) = 0.09.
    EXPECT_NEAR(difference(a, b).standard_uncertainty(), std::sqrt(0.5 - 0.18), 1e-12);
    EXPECT_NEAR(sum({a, b}).standard_uncertainty(), std::sqrt(0.5 + 0.18), 1e-12);
    EXPECT_NEAR(ratio(a, a, "1").standard_uncertainty(), 0.0, 1e-12);
}

// ILAC-G8:09/2019, guard band w = U: between limit - U and limit + U there is no verdict.
TEST(Conformity, guardBandOfTheExpandedUncertainty) {
    const auto measured = [](double value) { return Quantity{value, "W", {{"all", 0.5}}}; };  // U = 1
    const Tolerance at_least{.at_least = 22.0};
    EXPECT_EQ(judge(measured(23.001), at_least), Verdict::met);
    EXPECT_EQ(judge(measured(22.999), at_least), Verdict::undecided);
    EXPECT_EQ(judge(measured(21.001), at_least), Verdict::undecided);
    EXPECT_EQ(judge(measured(20.999), at_least), Verdict::not_met);
    const Tolerance band{.at_least = 20.0, .at_most = 30.0};
    EXPECT_EQ(judge(measured(25.0), band), Verdict::met);
    EXPECT_EQ(judge(measured(29.5), band), Verdict::undecided);
    EXPECT_EQ(judge(measured(31.1), band), Verdict::not_met);
}

// Outside: scipy.interpolate.PchipInterpolator 1.10.1 on the same points.
TEST(MonotoneCurve, equalsSciPy) {
    const MonotoneCurve curve({0.0, 0.1, 0.3, 0.4, 0.7, 1.1}, {0.0, 0.02, 0.31, 0.3, 1.2, 4.0});
    const double x[] = {0.05, 0.2, 0.35, 0.5, 0.6, 1.0};
    const double y[] = {0.0059472049689441,  0.17310559006211185, 0.305,
                        0.44174454828660437, 0.7834890965732088,  3.1174566088117484};
    for (int k = 0; k < 6; ++k) EXPECT_NEAR(curve.at(x[k]), y[k], 1e-13);
}

// Closed form: a sine inside the band has mean square A^2 / 2; outside it nothing is left.
TEST(BandPower, keepsALineInsideAndDropsOneOutside) {
    std::vector<double> record(19200);
    for (std::size_t n = 0; n < record.size(); ++n)
        record[n] = 0.3 * std::sin(2.0 * M_PI * 1234.5 * static_cast<double>(n) / 96000.0);
    EXPECT_NEAR(band_mean_square(record, 96000.0, 20.0, 20000.0), 0.045, 1e-6);
    EXPECT_LT(band_mean_square(record, 96000.0, 2000.0, 20000.0), 1e-9);
}
