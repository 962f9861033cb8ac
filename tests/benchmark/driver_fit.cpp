// One fit of a driver, free air and mass together, from a cold start. The curve is written down by a closed
// form with a ripple in the place of noise, so that a script can make the same one and fit it with SciPy
// (tests/reference/driver_fit_test.py): the counters are what the fit found.
#include <benchmark/benchmark.h>

#include <cmath>
#include <complex>
#include <numbers>

#include "analysis/driver/fit_start.h"

namespace {

using namespace assay::analysis;

LoadedCurve rippled(double added_kg) {
    constexpr double two_pi = 2.0 * std::numbers::pi;
    LoadedCurve taken;
    taken.added_mass_kg = added_kg;
    for (int i = 0; i < 300; ++i) {
        const double f = 10.0 * std::pow(500.0, i / 299.0);
        const std::complex<double> s(0.0, two_pi * f);
        const std::complex<double> mechanical = s * (0.0563 + added_kg) + 1.603 + 1.0 / (s * 0.429e-3);
        const std::complex<double> z = 5.61 + 0.012 * std::pow(s, 0.68) + 10.42 * 10.42 / mechanical;
        const double k = i + 1000.0 * added_kg;
        const std::complex<double> ripple(2e-3 * std::sin(37.0 * k), 2e-3 * std::cos(53.0 * k));
        taken.curve.points.push_back({f, z * (1.0 + ripple), 0.0});
    }
    return taken;
}

void driver_fit(benchmark::State& state) {
    FitInputs inputs;
    inputs.curves = {rippled(0.0), rippled(0.04)};
    const FitModel model{CoilKind::power_law, SuspensionKind::plain};
    Fit fit;
    for (auto _ : state) {
        const auto reading = read_start(inputs);
        fit = fit_driver(model, inputs, starts_for(model, inputs, *reading).front());
        benchmark::DoNotOptimize(fit.parameters.data());
    }
    const FittedDriver driver = driver_of(fit.layout, fit.parameters);
    state.counters["re_ohm"] = driver.re_ohm;
    state.counters["fs_hz"] = driver.cone.fs_hz;
    state.counters["qms"] = driver.cone.qms;
    state.counters["qes"] = driver.cone.qes;
    state.counters["coil_k"] = driver.coil.k;
    state.counters["coil_n"] = driver.coil.n;
    state.counters["mms_g"] = 1e3 * mms_kg_of(fit.layout, fit.parameters);
}

BENCHMARK(driver_fit)->Unit(benchmark::kMillisecond);

}  // namespace
