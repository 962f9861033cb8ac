// Follows one channel block by block and reports the runs of equal samples that last long enough:
// exact zeros and held values alike.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <span>

namespace assay::capture {

/// Calls `found(value, first_frame, end_frame)` for each run of at least `shortest` (more than 32) samples.
template <class Found>
class EqualRuns {
  public:
    EqualRuns(std::int64_t shortest, Found found) : shortest_(shortest), found_(found) {}

    void feed(std::span<const float> block) {
        // A run that is long enough covers whole chunks, so a chunk with a change in it needs a look at
        // its two ends only.
        std::size_t i = 0;
        for (; i + chunk <= block.size(); i += chunk) step(block.subspan(i, chunk));
        if (i < block.size()) step(block.subspan(i));
    }

    void finish() { end_run(frame_); }

  private:
    static constexpr std::size_t chunk = 16;

    void step(std::span<const float> part) {
        const bool constant = part.front() == value_ && is_constant(part);
        if (!constant || frame_ == 0) {
            std::size_t same = 0;
            while (same < part.size() && part[same] == value_) ++same;
            end_run(frame_ + static_cast<std::int64_t>(same));
            value_ = part.back();
            std::size_t tail = part.size();
            while (tail > 0 && part[tail - 1] == value_) --tail;
            start_ = frame_ + static_cast<std::int64_t>(tail);
        }
        frame_ += static_cast<std::int64_t>(part.size());
    }

    static bool is_constant(std::span<const float> part) {
        std::uint32_t differences = 0;
        for (std::size_t i = 1; i < part.size(); ++i) {
            differences |= std::bit_cast<std::uint32_t>(part[i]) ^ std::bit_cast<std::uint32_t>(part[0]);
        }
        return differences == 0;
    }

    void end_run(std::int64_t end) {
        if (frame_ > 0 && end - start_ >= shortest_) found_(value_, start_, end);
    }

    std::int64_t shortest_;
    Found found_;
    float value_ = 0.0F;
    std::int64_t start_ = 0;
    std::int64_t frame_ = 0;  // of the next sample
};

}  // namespace assay::capture
