// Finds blocks that a faulty buffer delivered twice: x[n] = x[n - L] for L samples on end, L unknown.
//
// Windows of 16 samples, chosen by their content so that original and copy choose the same ones, are
// looked up in a table of what passed lately; a hit is followed sample by sample in both directions.
// A signal without noise may repeat everywhere (1 kHz at 96 kHz does every 96 samples), so a run is
// taken for a fault only where it is an exception: the samples on both of its sides do not repeat at
// the same distance; and a run much longer than its block counts only if the recording has few runs.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

namespace assay::capture {

class RepeatFinder {
  public:
    struct Repeat {
        std::int64_t first_frame = 0;  // of the copy
        std::int64_t lag = 0;          // length of the block, frames
        std::int64_t frames = 0;       // length of the copy
    };

    RepeatFinder(std::int64_t shortest_lag, std::int64_t longest_lag, double rate_hz);
    /// The next samples of one channel.
    void feed(std::span<const float> block);
    /// After the last block: the exceptions, in order of time.
    [[nodiscard]] std::vector<Repeat> finish();

  private:
    struct Run {
        std::int64_t lag = 0;
        std::int64_t start = 0;  // absolute frames
        std::int64_t end = 0;
        bool open = false;
        bool alike_before = false;  // the samples before it repeat at the same distance as well
    };

    float at(std::int64_t frame) const { return buffer_[static_cast<std::size_t>(frame - origin_)]; }
    bool looked_at(std::int64_t frame, std::int64_t lag) const;
    void follow(std::int64_t frame, std::int64_t lag);
    void extend(Run& run) const;
    void close(const Run& run);
    bool alike(std::int64_t first, std::int64_t last, std::int64_t lag) const;
    void judge(bool at_the_end);
    void choose(std::span<const float> block);

    std::int64_t shortest_lag_;
    std::int64_t longest_lag_;
    unsigned choice_shift_;
    std::vector<std::uint32_t> chosen_{};  // by sample of a block: 0 where a window is looked at
    std::vector<float> buffer_{};          // history and the present block
    std::int64_t origin_ = 0;              // absolute frame of buffer_[0]
    std::int64_t end_ = 0;                 // one past the last frame in the buffer
    std::vector<std::int64_t> table_;
    std::array<Run, 4> recent_{};
    std::size_t next_recent_ = 0;
    std::vector<Run> waiting_{};  // long enough; their other side has not arrived yet
    std::vector<Repeat> found_{};
    std::vector<Repeat> long_runs_{};
    std::int64_t repeated_frames_ = 0;
};

}  // namespace assay::capture
