#include "capture/device/block_watch.h"

#include <algorithm>
#include <cmath>

#include "capture/full_scale.h"

namespace assay::capture {

namespace {

constexpr int run_at_full_scale = 2;
// Below this a sample of 16 bits has few bits to show.
constexpr float loud = 0.001F;
constexpr std::int64_t enough_loud_samples = 5000;

}  // namespace

BlockWatch::BlockWatch(int channels, double rate_hz)
    : rate_hz_(rate_hz), run_(static_cast<std::size_t>(channels), 0) {}

void BlockWatch::look_at(std::span<const float> interleaved) {
    const std::size_t width = run_.size();
    for (std::size_t at = 0; at + width <= interleaved.size(); at += width) {
        bool zero = true;
        for (std::size_t c = 0; c < width; ++c) {
            const float value = interleaved[at + c];
            const float size = std::abs(value);
            zero = zero && value == 0.0F;
            run_[c] = size >= static_cast<float>(full_scale) ? run_[c] + 1 : 0;
            if (run_[c] >= run_at_full_scale && !overload_)
                overload_ = {static_cast<int>(c) + 1, static_cast<double>(frames_) / rate_hz_};
            if (size > loud && size < static_cast<float>(full_scale)) {
                ++loud_samples_;
                low_bits_ |=
                    static_cast<std::int32_t>(std::lrint(static_cast<double>(value) * 0x1p23)) & 0xFF;
            }
        }
        zero_frames_ = zero ? zero_frames_ + 1 : 0;
        ++frames_;
    }
}

double BlockWatch::zeros_s() const {
    return static_cast<double>(zero_frames_) / rate_hz_;
}

bool BlockWatch::only_16_bits() const {
    return loud_samples_ > enough_loud_samples && low_bits_ == 0;
}

}  // namespace assay::capture
