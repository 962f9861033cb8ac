// What happens in the sound card's callback, free of the sound library, so that it can be tested and timed by
// itself. Everything is allocated before the first block.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <span>
#include <vector>

#include "capture/device/ring.h"

namespace assay::capture {

/// Takes frames of the program's channels from a ring to the device's channels, which may be more.
class PlaySideOfStream {
  public:
    PlaySideOfStream(int program_channels, int device_channels, std::size_t ring_frames, double fade_frames);

    /// In the callback. `out`: whole frames of the device's channels.
    void fill(float* out, std::size_t frames);

    SampleRing& ring() { return ring_; }
    const SampleRing& ring() const { return ring_; }
    void end_of_tone() { ended_.store(true); }
    void fade_out() { fading_.store(true); }
    bool faded() const { return faded_.load(); }
    std::int64_t played() const { return played_.load(); }
    std::int64_t starved() const { return starved_.load(); }

  private:
    std::size_t program_channels_;
    std::size_t device_channels_;
    SampleRing ring_;
    std::vector<float> frame_;
    double gain_step_;
    double gain_ = 1.0;
    std::atomic<bool> started_{false};
    std::atomic<bool> ended_{false};
    std::atomic<bool> fading_{false};
    std::atomic<bool> faded_{false};
    std::atomic<std::int64_t> played_{0};
    std::atomic<std::int64_t> starved_{0};
};

/// Takes frames of the device's channels to a ring of the program's.
class RecordSideOfStream {
  public:
    RecordSideOfStream(int program_channels, int device_channels, std::size_t ring_frames,
                       std::size_t longest_block);

    /// In the callback. `in`: whole frames of the device's channels; `now_s` on a steady clock.
    void take(const float* in, std::size_t frames, double now_s);

    SampleRing& ring() { return ring_; }
    const SampleRing& ring() const { return ring_; }
    std::int64_t recorded() const { return recorded_.load(); }
    std::int64_t lost() const { return lost_.load(); }
    /// Frames per second of the clock, from the start of the first block to that of the last.
    double rate_hz() const;
    /// True where half seconds by the clock agree with each other on a rate, and none ran at the one asked
    /// for. A machine that is too busy to call in time gives one too low, and never the same one for long.
    bool runs_at_another(double rate_hz) const;

  private:
    std::size_t program_channels_;
    std::size_t device_channels_;
    SampleRing ring_;
    std::vector<float> block_;
    std::atomic<std::int64_t> recorded_{0};
    std::atomic<std::int64_t> lost_{0};
    std::atomic<double> first_s_{-1.0};
    std::atomic<double> last_s_{-1.0};
    std::atomic<std::int64_t> before_last_{0};  // frames up to the start of the last block

    static constexpr std::size_t stretches = 64;
    std::array<std::atomic<double>, stretches> stretch_rates_{};  // of half seconds, the last ones
    double stretch_from_s_ = -1.0;
    std::int64_t stretch_from_ = 0;
    std::size_t next_stretch_ = 0;
};

}  // namespace assay::capture
