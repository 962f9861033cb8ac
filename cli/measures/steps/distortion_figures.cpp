#include "cli/measures/steps/distortion_figures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "analysis/units.h"
#include "cli/measures/recording/repeat_scatter.h"

namespace assay::cli {

namespace {

using analysis::StepReading;

constexpr std::size_t highest_order = 10;

Figure mean_of(const TrustedSteps& steps, const std::function<double(const StepReading&)>& value,
               const std::function<double(const StepReading&)>& noise) {
    const double count = static_cast<double>(steps.readings.size());
    double mean = 0.0;
    double noise_square = 0.0;
    for (const StepReading& reading : steps.readings) {
        mean += value(reading) / count;
        noise_square += noise(reading) * noise(reading) / (count * count);
    }
    double square = 0.0;
    for (const StepReading& reading : steps.readings)
        square += (value(reading) - mean) * (value(reading) - mean);
    return {mean, std::sqrt(noise_square), count > 1.0 ? std::sqrt(square / (count - 1.0) / count) : 0.0};
}

std::size_t harmonics_of(const TrustedSteps& steps) {
    std::size_t count = highest_order;
    for (const StepReading& reading : steps.readings) count = std::min(count, reading.harmonics.size());
    return count;
}

double noise_of_one(const StepReading& reading) {
    // Amplitude doubt of any harmonic re the fundamental: both have the same noise.
    return reading.fundamental_doubt_v / std::max(reading.fundamental_v, 1e-300);
}

double thd_total_of(const StepReading& reading) {
    return reading.thd / std::sqrt(1.0 + reading.thd * reading.thd);
}

}  // namespace

DistortionFigures figures_at_level(const TrustedSteps& steps) {
    DistortionFigures figures;
    const auto thd_doubt = [](const StepReading& r) { return r.thd_doubt; };
    const auto volts_noise = [](const StepReading& r) { return r.fundamental_doubt_v; };
    const std::size_t count = steps.readings.size();
    figures.total_v = mean_of(
        steps, [](const StepReading& r) { return r.total_v; }, volts_noise);
    figures.total_v.scatter = beyond_noise(figures.total_v.scatter, figures.total_v.noise, count);
    // Squares are averaged: what noise adds was taken off in power, and only there it averages out.
    const auto root = [count](Figure figure) {
        const double value = std::sqrt(std::max(figure.value, 0.0));
        figure.scatter =
            value > 0.0 ? beyond_noise(figure.scatter / (2.0 * value), figure.noise, count) : 0.0;
        figure.value = value;
        return figure;
    };
    figures.thd = root(mean_of(
        steps, [](const StepReading& r) { return r.thd * r.thd; }, thd_doubt));
    figures.thd_total = root(mean_of(
        steps, [](const StepReading& r) { return thd_total_of(r) * thd_total_of(r); }, thd_doubt));
    figures.thd_plus_noise = root(mean_of(
        steps, [](const StepReading& r) { return r.thd_plus_noise * r.thd_plus_noise; },
        [](const StepReading& r) { return r.thd_plus_noise_doubt; }));
    for (std::size_t k = 1; k < harmonics_of(steps); ++k) {
        // Harmonics keep their phase re the fundamental from step to step, noise does not.
        std::complex<double> mean{};
        for (const StepReading& reading : steps.readings)
            mean += reading.harmonics[k] / static_cast<double>(steps.readings.size());
        Figure figure = mean_of(
            steps, [k](const StepReading& r) { return std::abs(r.harmonics[k]); }, noise_of_one);
        figure.value = std::abs(mean);
        figure.scatter = beyond_noise(figure.scatter, figure.noise, count);
        figures.harmonics.push_back(figure);
    }
    for (const double share : steps.plus_shares) figures.plus_share = share;
    return figures;
}

std::variant<DistortionFigures, analysis::Absent> figures_at_volts(const TrustedSteps& steps, double volts) {
    for (std::size_t k = 0; k + 1 < steps.readings.size(); ++k) {
        const StepReading& low = steps.readings[k];
        const StepReading& high = steps.readings[k + 1];
        if (low.total_v >= volts || high.total_v < volts || !steps.trouble_between(k, k + 1).empty())
            continue;
        const double part = std::log(volts / low.total_v) / std::log(high.total_v / low.total_v);
        const auto between = [&](double a, double b, double noise) {
            return Figure{a + part * (b - a), noise, std::abs(b - a) / 12.0};
        };
        DistortionFigures figures;
        figures.total_v = {volts, high.fundamental_doubt_v, 0.0};
        const double noise = std::max(low.thd_doubt, high.thd_doubt);
        figures.thd = between(low.thd, high.thd, noise);
        figures.thd_total = between(thd_total_of(low), thd_total_of(high), noise);
        figures.thd_plus_noise = between(low.thd_plus_noise, high.thd_plus_noise,
                                         std::max(low.thd_plus_noise_doubt, high.thd_plus_noise_doubt));
        const std::size_t count = std::min({low.harmonics.size(), high.harmonics.size(), highest_order});
        for (std::size_t h = 1; h < count; ++h) {
            figures.harmonics.push_back(
                between(std::abs(low.harmonics[h]), std::abs(high.harmonics[h]), noise_of_one(high)));
        }
        figures.plus_share = steps.plus_shares[k + 1];
        return figures;
    }
    double loudest = 0.0;
    for (const StepReading& reading : steps.readings) loudest = std::max(loudest, reading.total_v);
    if (loudest < volts) {
        return analysis::Absent{
            "power-not-reached",
            fmt::format("the loudest step gave {:.3g} V, {:.1f} dB short of the {:.3g} V asked for", loudest,
                        analysis::decibels(volts / std::max(loudest, 1e-9)), volts),
            "turn the amplifier's gain up, or ask for less power"};
    }
    return analysis::Absent{"power-below-range",
                            fmt::format("the faintest step is already above the {:.3g} V asked for", volts),
                            "turn the amplifier's gain down, or ask for more power"};
}

}  // namespace assay::cli
