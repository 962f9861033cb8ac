// The checks of one channel, fed block by block; used by check_raw.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <span>

#include "capture/equal_runs.h"
#include "capture/raw_checks.h"
#include "capture/repeat_finder.h"

namespace assay::capture {

class RawChannelCheck {
  public:
    RawChannelCheck(const Recording& recording, int channel, const RawCheckLimits& limits);
    RawChannelCheck(const RawChannelCheck&) = delete;
    RawChannelCheck& operator=(const RawChannelCheck&) = delete;

    void feed(std::span<const float> block);
    [[nodiscard]] RawChannel finish();

  private:
    struct FullScaleRun {
        std::int64_t first = 0;  // where the present run began
        std::int64_t length = 0;
    };

    double seconds(std::int64_t frame) const { return static_cast<double>(frame) / rate_hz_; }
    void look_at_levels(std::span<const float> part);
    void look_at_full_scale(std::span<const float> part);
    void end_full_scale(FullScaleRun& run, std::vector<FullScaleInterval>& list);
    void take_equal_run(float value, std::int64_t first, std::int64_t end);
    void drop_own_values();

    RawChannel result_{};
    RawCheckLimits limits_;
    double rate_hz_;
    float full_scale_;
    bool may_have_spare_bits_;
    std::int64_t frame_ = 0;
    double sum_ = 0.0;
    FullScaleRun positive_{};
    FullScaleRun negative_{};
    std::map<float, int> held_times_{};
    std::int64_t zeros_at_start_ = 0;
    std::int64_t last_zeros_first_ = 0;
    EqualRuns<std::function<void(float, std::int64_t, std::int64_t)>> equal_runs_;
    RepeatFinder repeats_;
};

}  // namespace assay::capture
