#include "capture/raw_channel.h"

#include <cmath>

namespace assay::capture {

namespace {

constexpr std::size_t part_frames = 1024;
constexpr std::size_t lanes = 16;
// A value that is held this often is a level of the signal itself: the flat top of a clipped wave, or
// the offset of a silent stretch without noise. A stuck buffer holds whatever came last.
constexpr int own_value_times = 3;
constexpr std::int64_t shortest_full_scale_run = 2;
constexpr std::int64_t shortest_equal_run = 33;

struct Extremes {
    float lowest = 0.0F;
    float highest = 0.0F;
    double sum = 0.0;
};

// Side by side in lanes, so that the compiler may use vectors without reordering a sum behind our back.
Extremes extremes(std::span<const float> part) {
    std::array<float, lanes> low{};
    std::array<float, lanes> high{};
    std::array<double, lanes> sum{};
    std::size_t i = 0;
    for (; i + lanes <= part.size(); i += lanes) {
        const float* x = part.data() + i;
        for (std::size_t k = 0; k < lanes; ++k) {
            low[k] = x[k] < low[k] ? x[k] : low[k];
            high[k] = x[k] > high[k] ? x[k] : high[k];
            sum[k] += static_cast<double>(x[k]);
        }
    }
    for (; i < part.size(); ++i) {
        low[0] = std::min(low[0], part[i]);
        high[0] = std::max(high[0], part[i]);
        sum[0] += static_cast<double>(part[i]);
    }
    Extremes all;
    for (std::size_t k = 0; k < lanes; ++k) {
        all.lowest = std::min(all.lowest, low[k]);
        all.highest = std::max(all.highest, high[k]);
        all.sum += sum[k];
    }
    return all;
}

bool fits_16_bits(std::span<const float> part) {
    return std::all_of(part.begin(), part.end(), [](float value) {
        const float scaled = value * 32768.0F;
        return scaled == std::nearbyint(scaled);
    });
}

}  // namespace

RawChannelCheck::RawChannelCheck(const Recording& recording, int channel, const RawCheckLimits& limits)
    : limits_(limits),
      rate_hz_(recording.rate_hz),
      full_scale_(static_cast<float>(limits.full_scale)),
      may_have_spare_bits_(recording.bits > 16),
      equal_runs_(
          std::max(shortest_equal_run,
                   static_cast<std::int64_t>(
                       std::floor(std::min(limits.shortest_zeros_s, limits.shortest_held_s) * rate_hz_))),
          [this](float value, std::int64_t first, std::int64_t end) { take_equal_run(value, first, end); }),
      repeats_(static_cast<std::int64_t>(std::floor(limits.shortest_repeat_s * rate_hz_)),
               static_cast<std::int64_t>(std::ceil(limits.longest_repeat_s * rate_hz_)), rate_hz_) {
    result_.channel = channel;
    result_.only_16_bits = may_have_spare_bits_;
}

void RawChannelCheck::feed(std::span<const float> block) {
    if (result_.only_16_bits) result_.only_16_bits = fits_16_bits(block);
    for (std::size_t i = 0; i < block.size(); i += part_frames) {
        look_at_levels(block.subspan(i, std::min(part_frames, block.size() - i)));
    }
    equal_runs_.feed(block);
    repeats_.feed(block);
}

void RawChannelCheck::look_at_levels(std::span<const float> part) {
    const Extremes found = extremes(part);
    sum_ += found.sum;
    const float peak = std::max(found.highest, -found.lowest);
    if (peak > result_.peak) {
        result_.peak = peak;
        const auto where =
            std::find_if(part.begin(), part.end(), [&](float x) { return std::abs(x) == peak; });
        result_.peak_at_s = seconds(frame_ + (where - part.begin()));
    }
    if (peak >= full_scale_ || positive_.length > 0 || negative_.length > 0) look_at_full_scale(part);
    frame_ += static_cast<std::int64_t>(part.size());
}

void RawChannelCheck::look_at_full_scale(std::span<const float> part) {
    std::int64_t frame = frame_;
    for (const float value : part) {
        if (value >= full_scale_) {
            if (positive_.length++ == 0) positive_.first = frame;
        } else if (positive_.length > 0) {
            end_full_scale(positive_, result_.full_scale_positive);
        }
        if (value <= -full_scale_) {
            if (negative_.length++ == 0) negative_.first = frame;
        } else if (negative_.length > 0) {
            end_full_scale(negative_, result_.full_scale_negative);
        }
        if (std::abs(value) > 1.0F) ++result_.samples_above_full_scale;
        ++frame;
    }
}

void RawChannelCheck::end_full_scale(FullScaleRun& run, std::vector<FullScaleInterval>& list) {
    const FullScaleRun ended = run;
    run = FullScaleRun{};
    if (ended.length < shortest_full_scale_run) return;
    const double from_s = seconds(ended.first);
    const double to_s = seconds(ended.first + ended.length);
    if (!list.empty() && from_s - list.back().to_s <= limits_.full_scale_merge_s) {
        list.back().to_s = to_s;
        list.back().samples += ended.length;
    } else if (list.size() < limits_.most_findings) {
        list.push_back({.from_s = from_s, .to_s = to_s, .samples = ended.length});
    } else {
        result_.listed_whole = false;
    }
}

void RawChannelCheck::take_equal_run(float value, std::int64_t first, std::int64_t end) {
    const auto long_enough = [&](double shortest_s) {
        return end - first >= static_cast<std::int64_t>(std::floor(shortest_s * rate_hz_));
    };
    if (value == 0.0F) {
        if (!long_enough(limits_.shortest_zeros_s)) return;
        if (result_.zeros_inside.size() > limits_.most_findings) {
            result_.listed_whole = false;
            return;
        }
        result_.zeros_inside.push_back({.from_s = seconds(first), .to_s = seconds(end)});
        if (first == 0) zeros_at_start_ = end;
        last_zeros_first_ = first;
        return;
    }
    // At full scale a flat top is overload, which has its own list.
    if (std::abs(value) >= full_scale_ || !long_enough(limits_.shortest_held_s)) return;
    if (held_times_.size() < limits_.most_findings || held_times_.contains(value)) ++held_times_[value];
    if (result_.held.size() < limits_.most_findings) {
        if (held_times_[value] > own_value_times) return;
        result_.held.push_back({.from_s = seconds(first), .to_s = seconds(end), .value = value});
    } else {
        result_.listed_whole = false;
    }
}

void RawChannelCheck::drop_own_values() {
    std::erase_if(result_.held,
                  [&](const HeldValue& held) { return held_times_[held.value] >= own_value_times; });
}

RawChannel RawChannelCheck::finish() {
    equal_runs_.finish();
    end_full_scale(positive_, result_.full_scale_positive);
    end_full_scale(negative_, result_.full_scale_negative);
    result_.silent = frame_ > 0 && result_.peak == 0.0F;
    result_.dc = frame_ > 0 ? sum_ / static_cast<double>(frame_) : 0.0;
    if (result_.silent) result_.only_16_bits = false;
    auto& zeros = result_.zeros_inside;
    if (!zeros.empty() && zeros.back().to_s == seconds(frame_)) {
        result_.trailing_zeros_s = seconds(frame_ - last_zeros_first_);
        zeros.pop_back();
    }
    if (zeros_at_start_ > 0 && !zeros.empty()) zeros.erase(zeros.begin());
    result_.leading_zeros_s = seconds(zeros_at_start_);
    drop_own_values();
    for (const RepeatFinder::Repeat& repeat : repeats_.finish()) {
        result_.repeated.push_back({.at_s = seconds(repeat.first_frame),
                                    .block_s = seconds(repeat.lag),
                                    .lasts_s = seconds(repeat.frames)});
    }
    return result_;
}

}  // namespace assay::capture
