// The filters between the card's rate and the fine grid, against the sines that they must give.
#include "capture/simulated/rate_change.h"

#include <gtest/gtest.h>

#include <cmath>

#include "analysis/units.h"

namespace assay::capture {
namespace {

std::vector<double> sine(double cycles_per_sample, std::size_t count) {
    std::vector<double> samples(count);
    for (std::size_t i = 0; i < count; ++i)
        samples[i] = std::sin(analysis::two_pi * cycles_per_sample * static_cast<double>(i));
    return samples;
}

/// Runs through a filter in uneven blocks, which must not show.
template <class Filter>
std::vector<double> run(Filter& filter, const std::vector<double>& in, std::size_t up, std::size_t down) {
    std::vector<double> out(in.size() * up / down);
    std::size_t done = 0;
    for (std::size_t block = 2; done < in.size(); block += 2) {
        const std::size_t count = std::min(block, in.size() - done);
        filter.process(std::span(in).subspan(done, count),
                       std::span(out).subspan(done * up / down, count * up / down));
        done += count;
    }
    return out;
}

constexpr double minus_115_db = 1.8e-6;  // below the 120 dB of the design by what half-band rounding costs

TEST(RateChange, DoublingGivesTheSineInBetween) {
    for (const double cycles : {0.01, 0.2, 0.4534}) {
        DoubleRate filter(0.4535);
        const std::vector<double> out = run(filter, sine(cycles, 2000), 2, 1);
        double worst = 0.0;
        for (std::size_t i = 400; i < out.size(); ++i) {
            const double time = static_cast<double>(i) / 2.0 - filter.delay_samples();
            worst = std::max(worst, std::abs(out[i] - std::sin(analysis::two_pi * cycles * time)));
        }
        EXPECT_LT(worst, minus_115_db) << cycles;
    }
}

TEST(RateChange, HalvingKeepsWhatIsBelowAndStopsWhatWouldFold) {
    constexpr double kept = 0.25;  // of the output's rate
    for (const double cycles : {0.01, 0.12}) {
        HalveRate filter(kept);
        const std::vector<double> out = run(filter, sine(cycles, 2000), 1, 2);
        double worst = 0.0;
        for (std::size_t i = 100; i < out.size(); ++i) {
            const double time = 2.0 * (static_cast<double>(i) - filter.delay_samples());
            worst = std::max(worst, std::abs(out[i] - std::sin(analysis::two_pi * cycles * time)));
        }
        EXPECT_LT(worst, minus_115_db) << cycles;
    }
    for (const double cycles : {0.38, 0.45, 0.499}) {
        HalveRate filter(kept);
        const std::vector<double> out = run(filter, sine(cycles, 2000), 1, 2);
        double worst = 0.0;
        for (std::size_t i = 100; i < out.size(); ++i) worst = std::max(worst, std::abs(out[i]));
        EXPECT_LT(worst, minus_115_db) << cycles;
    }
}

TEST(RateChange, ClockStepGivesTheSineAtAnyPosition) {
    const ClockStep step;
    std::vector<double> kernel(2 * static_cast<std::size_t>(ClockStep::reach));
    // Cycles per sample of twice the rate: 1 kHz at 96 kHz, 20 kHz at 96 kHz, 20 kHz at 44.1 kHz.
    for (const double cycles : {0.0052, 0.1042, 0.2267}) {
        double worst = 0.0;
        const std::vector<double> in = sine(cycles, kernel.size());
        for (int k = 0; k < 1000; ++k) {
            const double part = (k + 0.37) / 1000.0;
            step.kernel(part, kernel);
            const double time = static_cast<double>(ClockStep::reach - 1) + part;
            worst = std::max(
                worst, std::abs(inner_product(kernel, in) - std::sin(analysis::two_pi * cycles * time)));
        }
        EXPECT_LT(worst, minus_115_db) << cycles;
    }
    // Above half of the record rate nothing may come through.
    const std::vector<double> folding = sine(0.2501, kernel.size());
    for (const double part : {0.0, 0.3, 0.999}) {
        step.kernel(part, kernel);
        EXPECT_LT(std::abs(inner_product(kernel, folding)), minus_115_db) << part;
    }
}

}  // namespace
}  // namespace assay::capture
