#include "capture/simulated/bench_run.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "capture/simulated/amplifier.h"
#include "capture/simulated/card.h"
#include "capture/simulated/load_heat.h"
#include "capture/simulated/wiring.h"

namespace assay::capture {

namespace {

constexpr std::size_t block_frames = 512;
constexpr double tail_s = 0.1;
constexpr double fade_out_s = 0.02;
constexpr double play_volts_where_unstated = 2.0;

/// Parts of a sample as near as this share a kernel: on one clock they differ by rounding only.
constexpr double same_part = 1e-8;

/// The amplifier's noise is stated over this band and is white beyond.
constexpr double noise_band_hz = 20000.0 - 20.0;

/// Volts at an output for sample value 1.0, sign included.
double play_volts(const Bench& bench, std::size_t output) {
    const Output& out = bench.outputs[output];
    const double stated = bench.simulated.card.full_scale_out_v;
    const double volts = stated > 0.0 ? stated : out.volts_at_full_scale.value_or(play_volts_where_unstated);
    return out.inverted ? -volts : volts;
}

/// Sample value for one volt at the tip of an input, sign included.
double record_units(const Bench& bench, const Input& input) {
    const double stated = bench.simulated.card.full_scale_in_v;
    const double full_scale_v = stated > 0.0 ? stated : input.volts_at_full_scale;
    return (input.inverted ? -1.0 : 1.0) / (full_scale_v * input.attenuation);
}

/// An input that touches something, with what it has recorded at twice the rate and not yet given out.
struct OpenInput {
    WiredInput wired{};
    std::size_t channel = 0;  // of the recording, from 0
    double units_per_volt = 1.0;
    RecordSide side;
    std::vector<double> doubled{};
};

struct Run {
    Run(const Bench& bench_, const SimulatedTake& take_, SimulatedWiring wiring_);

    /// Plays the next block of frames and records it at twice the rate.
    void play_block(double gain_from, double gain_to);
    /// Record frames that have all they need, interleaved.
    std::span<const float> ready_frames(std::int64_t end_frame);

    const Bench& bench;
    const SimulatedTake& take;
    SimulatedWiring wiring;
    int stages;
    std::int64_t play_frame;  // of the tone; negative before it
    std::int64_t record_frame = 0;

  private:
    void fill_drive(double gain_from, double gain_to);
    void hear(OpenInput& input);
    double doubled_position(std::int64_t index) const;

    AmplifierModel amplifier;
    LoadHeat heat;
    std::array<PlaySide, 2> play;
    std::vector<OpenInput> inputs;
    ClockStep clock_step;
    Quantiser quantise;
    std::vector<RandomSource> card_noise_sources;       // one a recorded channel
    std::vector<RandomSource> amplifier_noise_sources;  // one an amplifier channel
    double doubled_start = 0.0;                         // position at twice the rate of play frame 0
    std::int64_t doubled_dropped = 0;                   // samples at twice the rate that are no longer held
    std::vector<float> tone_block;
    std::array<std::vector<double>, 2> drive;
    std::array<std::vector<double>, 2> drive_v;
    std::array<std::vector<double>, 2> output_v;
    std::vector<double> heard;
    std::vector<double> frame;
    std::vector<double> kernel;
    double kernel_part = -1.0;
    std::vector<float> interleaved;
};

SimulatedAmplifier bridged_as_wired(SimulatedAmplifier amplifier, const SimulatedWiring& wiring) {
    amplifier.second_channel_inverted = amplifier.second_channel_inverted || wiring.second_inverted;
    return amplifier;
}

/// Where the play side starts: early enough that the first record frame finds the filters filled.
std::int64_t first_play_frame(const Bench& bench, const Tone& tone) {
    const double delay_frames = bench.simulated.card.delay_s * tone.rate_hz;
    return -static_cast<std::int64_t>(std::ceil(delay_frames)) - static_cast<std::int64_t>(block_frames);
}

Run::Run(const Bench& bench_, const SimulatedTake& take_, SimulatedWiring wiring_)
    : bench(bench_),
      take(take_),
      wiring(std::move(wiring_)),
      stages(fine_grid_stages(take_.tone->rate_hz)),
      play_frame(first_play_frame(bench_, *take_.tone)),
      amplifier(bridged_as_wired(bench_.simulated.amplifier, wiring),
                std::ldexp(take_.tone->rate_hz, stages)),
      heat(bench_, wiring.loads),
      play{PlaySide(stages), PlaySide(stages)},
      quantise(bench_.simulated.card.bits),
      tone_block(block_frames),
      kernel(2 * static_cast<std::size_t>(ClockStep::reach)) {
    const SimulatedCard& card = bench.simulated.card;
    for (const WiredInput& wired : wiring.inputs) {
        const Input& input = bench.inputs[wired.input];
        const double units = record_units(bench, input);
        inputs.push_back({wired,
                          static_cast<std::size_t>(input.channel - 1),
                          units,
                          RecordSide(card, units, stages, take.tone->rate_hz),
                          {}});
    }
    for (int channel = 0; channel < recorded_channels(bench); ++channel) {
        card_noise_sources.emplace_back(
            stream_seed(bench.simulated.seed, take.name, static_cast<std::uint64_t>(channel) + 2));
    }
    for (std::uint64_t channel = 0; channel < 2; ++channel) {
        amplifier_noise_sources.emplace_back(stream_seed(bench.simulated.seed, take.name, channel));
    }
    frame.resize(card_noise_sources.size());
    for (std::vector<double>& channel : drive) channel.resize(block_frames);
    const double fine_start = play[0].first_index();
    const double doubled_first = inputs.empty() ? 0.0 : inputs.front().side.index_of(fine_start);
    doubled_start = doubled_first - 2.0 * static_cast<double>(play_frame);
}

void Run::fill_drive(double gain_from, double gain_to) {
    render(*take.tone, play_frame, tone_block);
    for (std::size_t c = 0; c < 2; ++c) {
        const std::size_t output = *wiring.feeds[c];
        const bool plays = std::find(take.outputs.begin(), take.outputs.end(), output) != take.outputs.end();
        const double volts = plays ? play_volts(bench, output) : 0.0;
        for (std::size_t i = 0; i < block_frames; ++i) {
            const double place = static_cast<double>(i) / static_cast<double>(block_frames);
            const double gain = gain_from + place * (gain_to - gain_from);
            drive[c][i] = volts * gain * std::clamp(static_cast<double>(tone_block[i]), -1.0, 1.0);
        }
    }
}

void Run::hear(OpenInput& input) {
    const std::size_t channel = input.wired.channel;
    input.side.process(input.wired.at_output ? output_v[channel] : drive_v[channel], heard);
    input.doubled.insert(input.doubled.end(), heard.begin(), heard.end());
}

void Run::play_block(double gain_from, double gain_to) {
    fill_drive(gain_from, gain_to);
    for (std::size_t c = 0; c < 2; ++c) {
        play[c].process(drive[c], drive_v[c]);
        output_v[c].resize(drive_v[c].size());
    }
    amplifier.connect(heat.conductance_s());
    amplifier.process({drive_v[0], drive_v[1]}, {output_v[0], output_v[1]});
    heat.warm({output_v[0], output_v[1]}, static_cast<double>(block_frames) / take.tone->rate_hz);
    for (OpenInput& input : inputs) hear(input);
    play_frame += static_cast<std::int64_t>(block_frames);
}

double Run::doubled_position(std::int64_t index) const {
    const SimulatedCard& card = bench.simulated.card;
    const double played =
        static_cast<double>(index) / (1.0 + 1e-6 * card.clock_ppm) - card.delay_s * take.tone->rate_hz;
    return doubled_start + 2.0 * played;
}

std::span<const float> Run::ready_frames(std::int64_t end_frame) {
    const std::size_t channels = card_noise_sources.size();
    const double card_rms = card_noise(bench.simulated.card);
    const double amplifier_rms_v =
        bench.simulated.amplifier.noise_v * std::sqrt(0.5 * take.tone->rate_hz / noise_band_hz);
    // What every input holds, counted from the first sample ever; all inputs hold equally much.
    const std::int64_t held_end = 2 * (play_frame - first_play_frame(bench, *take.tone));
    interleaved.clear();
    std::int64_t oldest_needed = doubled_dropped;
    for (; record_frame < end_frame; ++record_frame) {
        const double position = doubled_position(record_frame);
        const double floor_position = std::floor(position);
        const auto before = static_cast<std::int64_t>(floor_position);
        if (before + ClockStep::reach >= held_end) break;
        oldest_needed = before - ClockStep::reach + 1;
        const double part = position - floor_position;
        if (std::abs(part - kernel_part) > same_part) {
            clock_step.kernel(part, kernel);
            kernel_part = part;
        }

        std::array<double, 2> noise_v{};
        for (std::size_t c = 0; c < 2; ++c)
            noise_v[c] = amplifier_rms_v * amplifier_noise_sources[c].normal();
        const std::size_t first = interleaved.size();
        interleaved.resize(first + channels);
        for (std::size_t k = 0; k < channels; ++k) frame[k] = card_rms * card_noise_sources[k].normal();
        for (const OpenInput& input : inputs) {
            const auto start = static_cast<std::size_t>(oldest_needed - doubled_dropped);
            frame[input.channel] +=
                inner_product(kernel, std::span(input.doubled).subspan(start, kernel.size()));
            if (input.wired.at_output)
                frame[input.channel] += input.units_per_volt * noise_v[input.wired.channel];
        }
        for (std::size_t k = 0; k < channels; ++k) interleaved[first + k] = quantise(frame[k]);
    }
    for (OpenInput& input : inputs) {
        input.doubled.erase(input.doubled.begin(), input.doubled.begin() + (oldest_needed - doubled_dropped));
    }
    doubled_dropped = oldest_needed;
    return interleaved;
}

}  // namespace

int recorded_channels(const Bench& bench) {
    int channels = 1;
    for (const Input& input : bench.inputs) channels = std::max(channels, input.channel);
    return channels;
}

std::int64_t recorded_frames(const SimulatedCard& card, const Tone& tone) {
    const double played = static_cast<double>(tone.frames) + (card.delay_s + tail_s) * tone.rate_hz;
    return static_cast<std::int64_t>(std::ceil(played * (1.0 + 1e-6 * card.clock_ppm)));
}

Result<void> simulate_take(const Bench& bench, const SimulatedTake& take, const FrameSink& sink,
                           const std::function<void(double done)>& progress, const std::atomic<bool>& stop) {
    auto wiring = wire(bench, take.loads);
    if (!wiring) return tl::unexpected(wiring.error());
    Run run(bench, take, std::move(wiring.value()));

    const std::int64_t asked_frames = recorded_frames(bench.simulated.card, *take.tone);
    std::int64_t end_frame = asked_frames;
    const double fade_blocks = std::ceil(fade_out_s * take.tone->rate_hz / static_cast<double>(block_frames));
    double gain = 1.0;
    bool stopping = false;
    while (run.record_frame < end_frame) {
        if (!stopping && stop.load()) stopping = true;
        const double gain_from = gain;
        if (stopping) gain = std::max(gain - 1.0 / fade_blocks, 0.0);
        run.play_block(gain_from, gain);
        const std::span<const float> frames = run.ready_frames(end_frame);
        if (!frames.empty()) {
            if (auto written = sink(frames); !written) return written;
        }
        if (progress) progress(static_cast<double>(run.record_frame) / static_cast<double>(asked_frames));
        if (stopping && gain_from == 0.0) {
            return fail(FaultKind::stopped, "stopped by hand; what was recorded until then is kept");
        }
    }
    return {};
}

}  // namespace assay::capture
