// Reading and checking a minute of two channels at 96 kHz, as a staircase recording has it.
#include "capture/raw_checks.h"

#include <benchmark/benchmark.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <random>
#include <vector>

namespace {

using namespace assay::capture;

void check_a_minute(benchmark::State& state) {
    const auto path = std::filesystem::temp_directory_path() / "raw-checks-benchmark.wav";
    auto writer = RecordingWriter::create(path, 96000.0, 2, 24);
    std::mt19937 engine(1);
    std::normal_distribution<float> noise(0.0F, 1e-5F);
    std::vector<float> second(2 * 96000);
    bool written = writer.has_value();
    for (int s = 0; s < 60 && written; ++s) {
        for (std::size_t n = 0; n < second.size(); ++n) {
            const double turns = 1000.0 * static_cast<double>(n / 2) / 96000.0;
            second[n] = 0.5F * static_cast<float>(std::sin(2.0 * M_PI * turns)) + noise(engine);
        }
        written = writer->write(second).has_value();
    }
    written = written && writer->finish().has_value();
    const auto recording = open_recording(path);
    if (!written || !recording) {
        state.SkipWithError("the recording could not be written");
        return;
    }
    for (auto _ : state) {
        const auto checks = check_raw(*recording, std::array{1, 2});
        if (!checks || !checks->channels[0].repeated.empty())
            state.SkipWithError("a finding in a good recording");
    }
    std::filesystem::remove(path);
}
BENCHMARK(check_a_minute)->Unit(benchmark::kMillisecond);

}  // namespace
