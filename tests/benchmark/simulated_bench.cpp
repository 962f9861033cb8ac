// Speed of the simulated bench: ten seconds of a two-channel tone at 96 kHz, both channels driven.
#include <benchmark/benchmark.h>

#include "capture/simulated/bench_run.h"
#include "capture/simulated/demo_units.h"

namespace assay::capture {
namespace {

void simulated_take(benchmark::State& state) {
    constexpr double seconds = 10.0;
    Bench bench;
    bench.outputs = {Output{.name = "left", .channel = 1}, Output{.name = "right", .channel = 2}};
    bench.inputs = {Input{.name = "a", .channel = 1, .attenuation = 20.0},
                    Input{.name = "b", .channel = 2, .attenuation = 20.0}};
    bench.loads = {Load{.name = "a", .resistance_ohm = 4.0, .driven_by = {0}, .plus = 0},
                   Load{.name = "b", .resistance_ohm = 4.0, .driven_by = {1}, .plus = 1}};
    bench.simulated = healthy_demo_unit();
    bench.simulated.card.clock_ppm = 100.0;  // the slower of the two ways
    Tone tone;
    tone.frames = static_cast<std::int64_t>(seconds * tone.rate_hz);
    tone.segments = {
        Segment{.first_frame = 0, .frames = tone.frames, .law = SteadySine{997.0, 0.0}, .level_dbfs = -6.0}};
    const std::atomic<bool> stop{false};
    const SimulatedTake take{"take", &tone, {0, 1}, {}};
    for (auto _ : state) {
        const auto sink = [](std::span<const float> frames) -> Result<void> {
            benchmark::DoNotOptimize(frames.data());
            return {};
        };
        if (!simulate_take(bench, take, sink, {}, stop)) state.SkipWithError("the take failed");
    }
    state.counters["tone_seconds_per_second"] =
        benchmark::Counter(seconds, benchmark::Counter::kIsIterationInvariantRate);
}
BENCHMARK(simulated_take)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace assay::capture
