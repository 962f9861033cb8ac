// What physics says of any recording, held by the analysis for drawn ones: volts k times as large give k
// times the volts and the same ratios and frequencies; turned upside down only the two peaks change places;
// begun later nothing changes. RapidCheck draws the cases; RC_PARAMS in the environment sets seed and number.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "analysis/amplifier/intermodulation.h"
#include "analysis/amplifier/noise.h"
#include "analysis/amplifier/steady_step.h"
#include "analysis/units.h"

namespace assay::analysis {
namespace {

constexpr double laws_rate_hz = 48000.0;
// Sums of some ten thousand doubles in another order of rounding; a fit that iterates ends within 1e-9.
constexpr double rounding = 1e-8;

/// A factor that is no power of two, with which every product rounds.
double drawn_factor() {
    return std::pow(10.0, *rc::gen::inRange(-3000, 3001) / 1000.0);
}

std::vector<double> noise(std::size_t count, double sigma) {
    std::mt19937_64 random(*rc::gen::arbitrary<std::uint64_t>());
    std::normal_distribution<double> normal(0.0, sigma);
    std::vector<double> made(count);
    for (double& value : made) value = normal(random);
    return made;
}

void add_sine(std::vector<double>& volts, double frequency_hz, double peak, double phase) {
    for (std::size_t n = 0; n < volts.size(); ++n)
        volts[n] += peak * std::sin(two_pi * frequency_hz / laws_rate_hz * static_cast<double>(n) + phase);
}

double drawn_phase() {
    return *rc::gen::inRange(0, 6283) / 1000.0;
}

std::vector<double> times(std::vector<double> volts, double factor) {
    for (double& value : volts) value *= factor;
    return volts;
}

void near(double found, double expected, double scale, const char* what) {
    RC_LOG(std::string(what) + ": " + std::to_string(found) + " for " + std::to_string(expected));
    RC_ASSERT(std::abs(found - expected) <= rounding * std::abs(scale));
}

struct Step {
    std::vector<double> volts{};
    StepOptions options{};
};

/// A tone of some 20 Hz to 5 kHz, uneven and bent, with an offset and noise 40 to 100 dB below.
Step drawn_step() {
    Step made;
    const double hz = 20.0 * std::pow(250.0, *rc::gen::inRange(0, 1001) / 1000.0);
    made.volts = noise(24000, std::pow(10.0, -*rc::gen::inRange(40, 101) / 20.0));
    const double phase = drawn_phase();
    add_sine(made.volts, hz, 1.0, phase);
    add_sine(made.volts, 2.0 * hz, 0.03, drawn_phase());
    add_sine(made.volts, 3.0 * hz, 0.01, drawn_phase());
    for (double& value : made.volts) value += 0.02;
    made.options.frequency_guess_hz = hz * 1.00001;
    made.options.nominal_hz = hz;
    return made;
}

}  // namespace

RC_GTEST_PROP(Step, ScaledVoltsScaleAndRatiosStay, ()) {
    const Step step = drawn_step();
    const double factor = drawn_factor();
    const StepReading one = read_step(step.volts, laws_rate_hz, step.options);
    const StepReading other = read_step(times(step.volts, factor), laws_rate_hz, step.options);
    near(other.fundamental_v, factor * one.fundamental_v, factor, "fundamental");
    near(other.total_v, factor * one.total_v, factor, "total");
    near(other.noise_v, factor * one.noise_v, factor, "noise");
    near(other.hum_v, factor * one.hum_v, factor * one.noise_v + factor * 1e-6, "hum");
    near(other.peak_positive_v, factor * one.peak_positive_v, factor, "positive peak");
    near(other.peak_negative_v, factor * one.peak_negative_v, factor, "negative peak");
    near(other.fundamental_doubt_v, factor * one.fundamental_doubt_v, factor, "doubt");
    near(other.frequency_hz, one.frequency_hz, one.frequency_hz, "frequency");
    near(other.thd, one.thd, 1.0, "THD");
    near(other.thd_noise, one.thd_noise, 1.0, "noise in THD");
    near(other.thd_plus_noise, one.thd_plus_noise, 1.0, "THD+N");
    RC_ASSERT(other.disturbed == one.disturbed);
}

RC_GTEST_PROP(Step, UpsideDownThePeaksChangePlacesAndTheRestStays, ()) {
    const Step step = drawn_step();
    const StepReading one = read_step(step.volts, laws_rate_hz, step.options);
    const StepReading other = read_step(times(step.volts, -1.0), laws_rate_hz, step.options);
    near(std::abs(std::remainder(other.phase_rad - one.phase_rad, two_pi)), std::numbers::pi, 1.0, "phase");
    near(other.fundamental_v, one.fundamental_v, 1.0, "fundamental");
    near(other.total_v, one.total_v, 1.0, "total");
    near(other.noise_v, one.noise_v, 1.0, "noise");
    near(other.thd, one.thd, 1.0, "THD");
    near(other.thd_plus_noise, one.thd_plus_noise, 1.0, "THD+N");
    near(other.frequency_hz, one.frequency_hz, one.frequency_hz, "frequency");
    near(other.peak_positive_v, -one.peak_negative_v, 1.0, "positive peak");
    near(other.peak_negative_v, -one.peak_positive_v, 1.0, "negative peak");
}

// Without noise, in whole cycles: what is read cannot depend on where the wave stands when the record begins.
RC_GTEST_PROP(Step, LaterTheNumbersAreTheSame, ()) {
    const double hz = 2.0 * *rc::gen::inRange(15, 1000);
    const double second = drawn_phase();
    const double third = drawn_phase();
    const auto begun = [&](double samples) {
        std::vector<double> volts(24000, 0.02);
        const double turn = two_pi * hz / laws_rate_hz * samples;
        add_sine(volts, hz, 1.0, turn);
        add_sine(volts, 2.0 * hz, 0.03, second + 2.0 * turn);
        add_sine(volts, 3.0 * hz, 0.01, third + 3.0 * turn);
        StepOptions options;
        options.frequency_guess_hz = hz * 1.00001;
        options.nominal_hz = hz;
        return read_step(volts, laws_rate_hz, options);
    };
    const StepReading one = begun(0.0);
    const StepReading other = begun(*rc::gen::inRange(1, 48000));
    near(other.fundamental_v, one.fundamental_v, 1.0, "fundamental");
    near(other.total_v, one.total_v, 1.0, "total");
    near(other.thd, one.thd, 1.0, "THD");
    near(other.thd_plus_noise, one.thd_plus_noise, 1.0, "THD+N");
    near(other.frequency_hz, one.frequency_hz, hz, "frequency");
    RC_ASSERT(one.harmonics.size() == other.harmonics.size());
    for (std::size_t k = 0; k < one.harmonics.size(); ++k)
        RC_ASSERT(std::abs(one.harmonics[k] - other.harmonics[k]) <= rounding);
}

RC_GTEST_PROP(Noise, ScaledVoltsScaleAndTheMainsStay, ()) {
    std::vector<double> volts = noise(8 * 8000, 1e-3);
    const double rate = 8000.0;
    const double phase = drawn_phase();
    const double mains_hz = *rc::gen::inRange(49900, 50101) / 1000.0;
    for (std::size_t n = 0; n < volts.size(); ++n)
        volts[n] += 1e-3 * std::sin(two_pi * mains_hz / rate * static_cast<double>(n) + phase);
    const double factor = drawn_factor() * (*rc::gen::arbitrary<bool>() ? 1.0 : -1.0);
    const double size = std::abs(factor);
    const NoiseReading one = read_noise(volts, rate, 0.0);
    const NoiseReading other = read_noise(times(volts, factor), rate, 0.0);
    near(other.band.volts, size * one.band.volts, size * one.band.volts, "band");
    near(other.a_weighted.volts, size * one.a_weighted.volts, size * one.a_weighted.volts, "A");
    near(other.itu_468_quasi_peak.volts, size * one.itu_468_quasi_peak.volts, size * one.band.volts,
         "quasi-peak");
    near(other.hum.volts, size * one.hum.volts, size * one.band.volts, "hum");
    RC_ASSERT(other.mains_hz.has_value() && one.mains_hz.has_value());
    near(*other.mains_hz, *one.mains_hz, 50.0, "mains");
    RC_ASSERT(other.hum_lines.size() == one.hum_lines.size());
    RC_ASSERT(other.whistle.has_value() == one.whistle.has_value());
}

RC_GTEST_PROP(Pair, RatiosStayWhateverTheScaleAndThePolarity, ()) {
    std::vector<double> volts = noise(48000, 1e-5);
    const double low_hz = *rc::gen::inRange(40, 100);
    const double high_hz = *rc::gen::inRange(3000, 8000);
    add_sine(volts, low_hz, 0.8, drawn_phase());
    add_sine(volts, high_hz, 0.2, drawn_phase());
    add_sine(volts, high_hz - low_hz, 0.002, drawn_phase());
    add_sine(volts, high_hz + low_hz, 0.002, drawn_phase());
    const double factor = drawn_factor() * (*rc::gen::arbitrary<bool>() ? 1.0 : -1.0);
    const auto read = [&](const std::vector<double>& record) {
        return read_pair(record, laws_rate_hz, low_hz, high_hz, PairMethod::modulation, 20000.0);
    };
    const IntermodulationReading one = read(volts);
    const IntermodulationReading other = read(times(volts, factor));
    near(other.low_v, std::abs(factor) * one.low_v, factor, "lower tone");
    near(other.high_v, std::abs(factor) * one.high_v, factor, "upper tone");
    RC_ASSERT(one.second && other.second && one.third && other.third);
    near(other.second->ratio, one.second->ratio, 1.0, "second order");
    near(other.third->ratio, one.third->ratio, 1.0, "third order");
    near(other.second->noise, one.second->noise, 1.0, "noise");
}

}  // namespace assay::analysis
