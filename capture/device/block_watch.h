// What a running capture shows block by block: overload, exact zeros, bits that are never used. Constant
// memory.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace assay::capture {

class BlockWatch {
  public:
    BlockWatch(int channels, double rate_hz);

    /// Interleaved frames, in order.
    void look_at(std::span<const float> interleaved);

    /// Channel (from 1) and second of the first run of samples at full scale.
    struct Overload {
        int channel = 1;
        double at_s = 0.0;
    };
    std::optional<Overload> overload() const { return overload_; }
    /// Seconds of nothing but exact zeros in all channels, up to now. A converter's noise never gives that.
    double zeros_s() const;
    /// Loud enough to tell, and the lower eight of 24 bits never used.
    bool only_16_bits() const;
    std::int64_t frames() const { return frames_; }

  private:
    double rate_hz_;
    std::vector<int> run_;  // of samples at full scale, by channel
    std::optional<Overload> overload_{};
    std::int64_t frames_ = 0;
    std::int64_t zero_frames_ = 0;
    std::int64_t loud_samples_ = 0;
    std::int32_t low_bits_ = 0;
};

}  // namespace assay::capture
