// A bench that sounds for as long as somebody listens: records in blocks, plays a steady sine or nothing.
// What `watch` and `calibrate` stand on; nothing goes to the disk.
#pragma once

#include <atomic>
#include <memory>
#include <optional>
#include <span>
#include <thread>
#include <vector>

#include "capture/bench.h"
#include "capture/device/live.h"
#include "capture/device/sound_stream.h"

namespace assay::capture {

struct SteadySound {
    double frequency_hz = 997.0;
    double level_dbfs = -40.0;
    std::vector<std::size_t> outputs{};  // indices into Bench::outputs
};

class BenchSound {
  public:
    /// Starts at once; the sine fades in over a fifth of a second.
    [[nodiscard]] static Result<std::unique_ptr<BenchSound>> open(
        const Bench& bench, const std::shared_ptr<SoundLibrary>& library, const LiveDevices& devices,
        const std::optional<SteadySound>& sound);
    BenchSound(const BenchSound&) = delete;
    BenchSound& operator=(const BenchSound&) = delete;
    ~BenchSound();

    int channels() const { return channels_; }
    /// Waits for whole frames of all channels. False: `stop` was set. A fault: the device is gone.
    [[nodiscard]] Result<bool> next(std::span<float> interleaved, const std::atomic<bool>& stop);
    /// Frames that have come and were not yet asked for.
    std::int64_t behind() const { return stream_->recorded_waiting(); }
    StreamCounts counts() const { return stream_->counts(); }
    /// Fades out and ends.
    void end();

  private:
    BenchSound() = default;
    void feed();

    int channels_ = 1;
    double rate_hz_ = 0.0;
    std::optional<SteadySound> sound_{};
    std::vector<float> gains_{};
    std::unique_ptr<SoundStream> stream_{};
    std::atomic<bool> quit_{false};
    std::thread feeder_{};
};

}  // namespace assay::capture
