#include "capture/device/simulated.h"

#include "capture/recording.h"
#include "capture/simulated/bench_run.h"

namespace assay::capture {

Result<Recording> SimulatedDevice::play_and_record(const PlayRequest& request,
                                                   const std::atomic<bool>& stop) {
    constexpr int file_bits = 24;
    const std::filesystem::path path = request.into / (request.capture_name + ".wav");
    auto writer = RecordingWriter::create(path, request.tone->rate_hz, recorded_channels(bench_), file_bits);
    if (!writer) return tl::unexpected(writer.error());

    const SimulatedTake take{request.capture_name, request.tone, request.outputs, request.loads,
                             request.in_jig};
    const auto sink = [&](std::span<const float> frames) { return writer->write(frames); };
    const Result<void> played = simulate_take(bench_, take, sink, request.progress, stop);
    if (!played && played.error().kind != FaultKind::stopped) return tl::unexpected(played.error());
    if (auto finished = writer->finish(); !finished) return tl::unexpected(finished.error());
    if (!played) return tl::unexpected(played.error());
    return open_recording(path);
}

}  // namespace assay::capture
