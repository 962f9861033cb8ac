// A staircase of about a minute, two channels, 96 kHz: from file to judged numbers.
#include <benchmark/benchmark.h>

#include <filesystem>

#include "capture/device/simulated.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/demo_files.h"
#include "cli/files/job/job_file.h"
#include "cli/measures/fields.h"
#include "cli/measures/measure.h"

namespace {

void staircase_analysed(benchmark::State& state) {
    using namespace assay;
    const auto bench = cli::parse_bench(cli::demo_bench_toml, "bench");
    const auto job = cli::parse_job(cli::demo_job_toml, "job", *bench, bench->sample_rate_hz);
    const cli::Test* both = nullptr;
    for (const cli::Test& test : job->tests) {
        if (test.measure == "clipping-power" && test.loads.size() == 2) both = &test;
    }
    const cli::Setup setup{&*bench, both, bench->sample_rate_hz};
    const cli::Measure& measure = *cli::find_measure("clipping-power");
    cli::Take take{*measure.next(setup, {}), {}};
    const auto folder = std::filesystem::temp_directory_path() / "assay-benchmark";
    std::filesystem::create_directories(folder);
    capture::SimulatedDevice device(*bench);
    capture::PlayRequest request;
    request.capture_name = "staircase";
    request.tone = &take.tone;
    request.outputs = cli::outputs_of(setup);
    request.into = folder;
    request.loads = both->loads;
    const std::atomic<bool> stop{false};
    take.recording = *device.play_and_record(request, stop);
    for (auto _ : state) {
        const auto result = measure.evaluate(setup, std::span(&take, 1));
        benchmark::DoNotOptimize(result);
        if (result.fault) state.SkipWithError(result.fault->text.c_str());
    }
    state.counters["recording_s"] = take.recording.duration_s();
    std::filesystem::remove_all(folder);
}
BENCHMARK(staircase_analysed)->Unit(benchmark::kMillisecond);

}  // namespace
