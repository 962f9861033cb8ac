#include "capture/device/stream_side.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace assay::capture {

namespace {
constexpr double stretch_s = 0.5;
constexpr double same_rate = 0.02;  // the nearest pair of usual rates lies 8.8 % apart
constexpr double agreeing = 0.01;   // a block that is called 5 ms late
constexpr std::size_t fewest_stretches = 3;
}  // namespace

PlaySideOfStream::PlaySideOfStream(int program_channels, int device_channels, std::size_t ring_frames,
                                   double fade_frames)
    : program_channels_(static_cast<std::size_t>(program_channels)),
      device_channels_(static_cast<std::size_t>(device_channels)),
      ring_(ring_frames * static_cast<std::size_t>(program_channels)),
      frame_(static_cast<std::size_t>(program_channels)),
      gain_step_(1.0 / fade_frames) {}

void PlaySideOfStream::fill(float* out, std::size_t frames) {
    const bool fading = fading_.load(std::memory_order_relaxed);
    std::int64_t starved = 0;
    for (std::size_t n = 0; n < frames; ++n) {
        float* to = out + n * device_channels_;
        std::fill_n(to, device_channels_, 0.0F);
        if (!ring_.read(frame_)) {
            ++starved;
            continue;
        }
        if (!started_.load(std::memory_order_relaxed)) started_.store(true);
        if (fading && gain_ > 0.0) gain_ = std::max(0.0, gain_ - gain_step_);
        // A raised cosine, so that neither end of the fade has a corner.
        const auto gain =
            static_cast<float>(gain_ >= 1.0 ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * gain_));
        const std::size_t count = std::min(program_channels_, device_channels_);
        for (std::size_t c = 0; c < count; ++c) to[c] = gain * frame_[c];
    }
    if (fading && (gain_ <= 0.0 || starved > 0)) faded_.store(true);
    if (starved > 0 && started_.load() && !ended_.load() && !fading) starved_.fetch_add(starved);
    played_.fetch_add(static_cast<std::int64_t>(frames));
}

RecordSideOfStream::RecordSideOfStream(int program_channels, int device_channels, std::size_t ring_frames,
                                       std::size_t longest_block)
    : program_channels_(static_cast<std::size_t>(program_channels)),
      device_channels_(static_cast<std::size_t>(device_channels)),
      ring_(ring_frames * static_cast<std::size_t>(program_channels)),
      block_(longest_block * static_cast<std::size_t>(program_channels)) {}

void RecordSideOfStream::take(const float* in, std::size_t frames, double now_s) {
    if (first_s_.load() < 0.0) first_s_.store(now_s);
    last_s_.store(now_s);
    before_last_.store(recorded_.load());
    if (stretch_from_s_ < 0.0) {
        stretch_from_s_ = now_s;
        stretch_from_ = recorded_.load();
    } else if (now_s - stretch_from_s_ >= stretch_s) {
        stretch_rates_[next_stretch_ % stretches].store(
            static_cast<double>(recorded_.load() - stretch_from_) / (now_s - stretch_from_s_));
        ++next_stretch_;
        stretch_from_s_ = now_s;
        stretch_from_ = recorded_.load();
    }
    const std::size_t longest = block_.size() / program_channels_;
    for (std::size_t at = 0; at < frames; at += longest) {
        const std::size_t count = std::min(longest, frames - at);
        for (std::size_t n = 0; n < count; ++n) {
            for (std::size_t c = 0; c < program_channels_; ++c) {
                block_[n * program_channels_ + c] =
                    in == nullptr || c >= device_channels_ ? 0.0F : in[(at + n) * device_channels_ + c];
            }
        }
        if (!ring_.write(std::span(block_).first(count * program_channels_)))
            lost_.fetch_add(static_cast<std::int64_t>(count));
    }
    recorded_.fetch_add(static_cast<std::int64_t>(frames));
}

bool RecordSideOfStream::runs_at_another(double rate_hz) const {
    std::array<double, stretches> rates{};
    std::size_t count = 0;
    for (const std::atomic<double>& rate : stretch_rates_) {
        if (rate.load() > 0.0) rates[count++] = rate.load();
    }
    if (count < fewest_stretches) return false;
    std::sort(rates.begin(), rates.begin() + static_cast<std::ptrdiff_t>(count));
    if (std::any_of(rates.begin(), rates.begin() + static_cast<std::ptrdiff_t>(count),
                    [rate_hz](double rate) { return std::abs(rate / rate_hz - 1.0) <= same_rate; }))
        return false;
    // From quarter to quarter, so that one stall says nothing against the others.
    const double low = rates[count / 4];
    const double high = rates[count - 1 - count / 4];
    return high / low - 1.0 <= agreeing;
}

double RecordSideOfStream::rate_hz() const {
    const double passed_s = last_s_.load() - first_s_.load();
    if (first_s_.load() < 0.0 || passed_s < 1.0) return 0.0;
    return static_cast<double>(before_last_.load()) / passed_s;
}

}  // namespace assay::capture
