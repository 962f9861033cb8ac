#include "capture/device/fall_watch.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "capture/units.h"

namespace assay::capture {

namespace {

constexpr std::size_t first_blocks = 3;
constexpr double margin_db = 0.2;     // below the fall that the analysis asks for, so that it sees it too
constexpr double least_sound = 3e-5;  // RMS re full scale: below it nothing is held

}  // namespace

FallWatch::FallWatch(FallEnd end, int channels, double rate_hz)
    : end_(std::move(end)),
      channels_(static_cast<std::size_t>(channels)),
      block_frames_(std::max<std::int64_t>(std::llround(end_.block_s * rate_hz), 1)) {
    for (const int channel : end_.channels) watched_.push_back({static_cast<std::size_t>(channel - 1)});
}

void FallWatch::look_at(std::span<const float> interleaved) {
    for (std::size_t frame = 0; frame + channels_ <= interleaved.size(); frame += channels_) {
        for (Watched& one : watched_) {
            const double sample = interleaved[frame + one.channel];
            one.sum += sample * sample;
        }
        if (++frames_ == block_frames_) end_block();
    }
}

void FallWatch::end_block() {
    for (Watched& one : watched_) {
        // The first block holds the start of the tone.
        if (blocks_ > 0) judge(one, std::sqrt(one.sum / static_cast<double>(block_frames_)));
        one.sum = 0.0;
    }
    frames_ = 0;
    ++blocks_;
}

void FallWatch::judge(Watched& one, double rms) const {
    if (one.first.size() < first_blocks) {
        if (rms > least_sound) one.first.push_back(rms);
        if (one.first.size() == first_blocks) std::sort(one.first.begin(), one.first.end());
        return;
    }
    const double limit = one.first[first_blocks / 2] * ratio_from_decibels(-(end_.fall_db + margin_db));
    one.down_s = rms < limit ? one.down_s + end_.block_s : 0.0;
}

bool FallWatch::fallen() const {
    return !watched_.empty() && std::all_of(watched_.begin(), watched_.end(),
                                            [&](const Watched& one) { return one.down_s >= end_.hold_s; });
}

}  // namespace assay::capture
