// One block of a sound card's callback: 64 frames, 8 channels each way. At 192 kHz a block lasts 333
// microseconds; the aim is a tenth of that.
#include <benchmark/benchmark.h>

#include <vector>

#include "capture/device/stream_side.h"

namespace assay::capture {
namespace {

void stream_callback(benchmark::State& state) {
    constexpr std::size_t frames = 64;
    PlaySideOfStream play(8, 8, 4 * 192000, 3840);
    RecordSideOfStream record(8, 8, 4 * 192000, 16384);
    std::vector<float> block(8 * frames, 0.25F);
    std::vector<float> drained(8 * frames);
    double now_s = 0.0;
    for (auto _ : state) {
        play.ring().write(block);
        play.fill(drained.data(), frames);
        record.take(block.data(), frames, now_s);
        record.ring().read(drained);
        now_s += 64.0 / 192000.0;
        benchmark::DoNotOptimize(drained.data());
    }
}
BENCHMARK(stream_callback);

}  // namespace
}  // namespace assay::capture
