// Projections and residual against the sums that define them, term by term in long double.
#include "analysis/signal/harmonic_projector.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <random>

using namespace assay::analysis;

namespace {

using Exact = std::complex<long double>;

Exact turn(long double radians) {
    return std::polar(1.0L, radians);
}

std::vector<double> noise(std::size_t count) {
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    std::vector<double> record(count);
    for (double& value : record) value = normal(random);
    return record;
}

long double place(std::size_t n, std::size_t count) {
    return static_cast<long double>(n) - 0.5L * static_cast<long double>(count - 1);
}

}  // namespace

// Lengths about the rows' 128 and the tiles' 1024, harmonics in odd and even number.
TEST(HarmonicProjector, IsTheSumsThatDefineIt) {
    double worst = 0.0;
    for (const std::size_t count : {1U, 127U, 128U, 129U, 1000U, 1024U, 1025U, 5003U}) {
        const std::vector<double> record = noise(count);
        HarmonicProjector projector(record);
        for (const int harmonics : {1, 2, 5, 20}) {
            const double omega = 0.0652;
            projector.set_basis(omega, harmonics);
            const auto found = projector.project();
            ASSERT_EQ(found.size(), static_cast<std::size_t>(harmonics) + 1);
            for (int k = 1; k <= harmonics + 1; ++k) {
                const bool by_place = k > harmonics;
                Exact sum{};
                long double size = 0.0L;
                for (std::size_t n = 0; n < count; ++n) {
                    const long double weight = record[n] * (by_place ? place(n, count) : 1.0L);
                    sum +=
                        weight * turn((by_place ? 1 : k) * static_cast<long double>(omega) * place(n, count));
                    size += std::abs(weight);
                }
                const auto off = static_cast<double>(
                    std::abs(Exact(found[static_cast<std::size_t>(k) - 1]) - sum) / (size + 1e-300L));
                worst = std::max(worst, off);
            }
        }
    }
    std::printf("projections off by %.1e of the sum of their terms' sizes\n", worst);
    EXPECT_LT(worst, 1e-13);  // rounding: some hundred units of 1e-16 for phases of up to 6500 radians
}

TEST(HarmonicProjector, LeavesWhatIsNotInTheModel) {
    double worst = 0.0;
    for (const std::size_t count : {1U, 128U, 1000U, 1025U, 5003U}) {
        const std::vector<double> record = noise(count);
        const double omega = 0.0652;
        const std::vector<std::complex<double>> phasors{{1.0, -0.5}, {0.2, 0.1}, {-0.03, 0.04}};
        const std::complex<double> slope{2e-5, -1e-5};
        HarmonicProjector projector(record);
        projector.set_basis(omega, 3);
        const std::vector<double> left = projector.residual(0.25, phasors, slope);
        ASSERT_EQ(left.size(), count);
        for (std::size_t n = 0; n < count; ++n) {
            const long double angle = static_cast<long double>(omega) * place(n, count);
            long double model = 0.25L + place(n, count) * (Exact(slope) * turn(angle)).real();
            for (std::size_t k = 0; k < phasors.size(); ++k)
                model += (Exact(phasors[k]) * turn(static_cast<long double>(k + 1) * angle)).real();
            worst = std::max(worst, std::abs(static_cast<double>(record[n] - model) - left[n]));
        }
    }
    std::printf("residual off by %.1e of volts about 1\n", worst);
    EXPECT_LT(worst, 1e-13);
}
