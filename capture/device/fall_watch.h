// Whether a level that is held has fallen for good, while the capture runs: a long test need not heat its
// load any more then. When it fell, and how far, the analysis reads from the capture.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace assay::capture {

/// When a capture ends before its tone does.
struct FallEnd {
    std::vector<int> channels{};  // recorded ones, from 1; all of them have to fall
    double fall_db = 1.0;
    double block_s = 1.0;  // over which the level is read: of noise long enough to stand still
    double hold_s = 5.0;   // so long it has to stay down: a player's gap is no fall
};

class FallWatch {
  public:
    FallWatch(FallEnd end, int channels, double rate_hz);

    /// Interleaved frames, in order.
    void look_at(std::span<const float> interleaved);
    /// For hold_s without a break by now, below the median of the first blocks of sound.
    bool fallen() const;

  private:
    struct Watched {
        std::size_t channel = 0;  // from 0
        double sum = 0.0;         // of squares, in the block that runs
        std::vector<double> first{};
        double down_s = 0.0;
    };
    void end_block();
    void judge(Watched& one, double rms) const;

    FallEnd end_;
    std::size_t channels_;
    std::int64_t block_frames_;
    std::int64_t frames_ = 0;  // in the block that runs
    std::int64_t blocks_ = 0;
    std::vector<Watched> watched_{};
};

}  // namespace assay::capture
