#include "capture/simulated/recorder.h"

#include <algorithm>
#include <cmath>

namespace assay::capture {

namespace {

constexpr double play_volts_where_unstated = 2.0;

/// Parts of a sample as near as this share a kernel: on one clock they differ by rounding only.
constexpr double same_part = 1e-8;

/// Sample value for one volt at the tip of an input, sign included.
double record_units(const Bench& bench, const Input& input) {
    const double stated = bench.simulated.card.full_scale_in_v;
    const double full_scale_v = stated > 0.0 ? stated : input.volts_at_full_scale;
    return (input.inverted ? -1.0 : 1.0) / (full_scale_v * input.attenuation);
}

}  // namespace

int recorded_channels(const Bench& bench) {
    int channels = 1;
    for (const Input& input : bench.inputs) channels = std::max(channels, input.channel);
    return channels;
}

std::int64_t first_play_frame(const SimulatedCard& card, double rate_hz) {
    const double delay_frames = card.delay_s * rate_hz;
    return -static_cast<std::int64_t>(std::ceil(delay_frames)) - static_cast<std::int64_t>(play_block_frames);
}

double play_volts(const Bench& bench, std::size_t output) {
    const Output& out = bench.outputs[output];
    const double stated = bench.simulated.card.full_scale_out_v;
    const double volts = stated > 0.0 ? stated : out.volts_at_full_scale.value_or(play_volts_where_unstated);
    return out.inverted ? -volts : volts;
}

Recorder::Recorder(const Bench& bench, double rate_hz, int stages, const std::string& take_name)
    : bench_(bench),
      rate_hz_(rate_hz),
      stages_(stages),
      quantise_(bench.simulated.card.bits),
      kernel_(2 * static_cast<std::size_t>(ClockStep::reach)) {
    for (int channel = 0; channel < recorded_channels(bench); ++channel) {
        noise_.emplace_back(
            stream_seed(bench.simulated.seed, take_name, static_cast<std::uint64_t>(channel) + 2));
    }
    frame_.resize(noise_.size());
}

std::size_t Recorder::connect(std::size_t index) {
    const Input& input = bench_.inputs[index];
    const double units = record_units(bench_, input);
    inputs_.push_back({static_cast<std::size_t>(input.channel - 1),
                       units,
                       RecordSide(bench_.simulated.card, units, stages_, rate_hz_),
                       {}});
    added_.resize(inputs_.size());
    const double fine_start = PlaySide(stages_).first_index();
    doubled_start_ = inputs_.front().side.index_of(fine_start) -
                     2.0 * static_cast<double>(first_play_frame(bench_.simulated.card, rate_hz_));
    return inputs_.size() - 1;
}

void Recorder::hear(std::size_t place, std::span<const double> volts) {
    OpenInput& input = inputs_[place];
    input.side.process(volts, heard_);
    input.doubled.insert(input.doubled.end(), heard_.begin(), heard_.end());
}

double Recorder::doubled_position(std::int64_t index) const {
    const SimulatedCard& card = bench_.simulated.card;
    const double played =
        static_cast<double>(index) / (1.0 + 1e-6 * card.clock_ppm) - card.delay_s * rate_hz_;
    return doubled_start_ + 2.0 * played;
}

std::span<const float> Recorder::ready_frames(std::int64_t end_frame, std::int64_t play_frame,
                                              const AddedVolts& added) {
    const std::size_t channels = noise_.size();
    const double noise_rms = card_noise(bench_.simulated.card);
    // What every input holds, counted from the first sample ever; all inputs hold equally much.
    const std::int64_t held_end = 2 * (play_frame - first_play_frame(bench_.simulated.card, rate_hz_));
    interleaved_.clear();
    std::int64_t oldest_needed = doubled_dropped_;
    for (; record_frame_ < end_frame; ++record_frame_) {
        const double position = doubled_position(record_frame_);
        const double floor_position = std::floor(position);
        const auto before = static_cast<std::int64_t>(floor_position);
        if (before + ClockStep::reach >= held_end) break;
        oldest_needed = before - ClockStep::reach + 1;
        const double part = position - floor_position;
        if (std::abs(part - kernel_part_) > same_part) {
            clock_step_.kernel(part, kernel_);
            kernel_part_ = part;
        }
        std::fill(added_.begin(), added_.end(), 0.0);
        added(record_frame_, added_);
        const std::size_t first = interleaved_.size();
        interleaved_.resize(first + channels);
        for (std::size_t k = 0; k < channels; ++k) frame_[k] = noise_rms * noise_[k].normal();
        for (std::size_t i = 0; i < inputs_.size(); ++i) {
            const OpenInput& input = inputs_[i];
            const auto start = static_cast<std::size_t>(oldest_needed - doubled_dropped_);
            frame_[input.channel] +=
                inner_product(kernel_, std::span(input.doubled).subspan(start, kernel_.size()));
            frame_[input.channel] += input.units_per_volt * added_[i];
        }
        for (std::size_t k = 0; k < channels; ++k) interleaved_[first + k] = quantise_(frame_[k]);
    }
    for (OpenInput& input : inputs_) {
        input.doubled.erase(input.doubled.begin(),
                            input.doubled.begin() + (oldest_needed - doubled_dropped_));
    }
    doubled_dropped_ = oldest_needed;
    return interleaved_;
}

}  // namespace assay::capture
