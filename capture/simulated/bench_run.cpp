#include "capture/simulated/bench_run.h"

#include <algorithm>
#include <cmath>

#include "capture/simulated/amplifier.h"
#include "capture/simulated/card.h"
#include "capture/simulated/driver_run.h"
#include "capture/simulated/recorder.h"
#include "capture/simulated/warming_loads.h"
#include "capture/simulated/wiring.h"

namespace assay::capture {

namespace {

constexpr double after_tone_s = 0.1;
constexpr double fade_out_s = 0.02;

/// The amplifier's noise is stated over this band and is white beyond.
constexpr double noise_band_hz = 20000.0 - 20.0;

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
    Recorder recorder;

  private:
    void fill_drive(double gain_from, double gain_to);

    AmplifierModel amplifier;
    WarmingLoads warming;
    std::array<PlaySide, 2> play;
    std::vector<RandomSource> noise_sources;  // one an amplifier channel
    std::vector<float> tone_block;
    std::array<std::vector<double>, 2> drive;
    std::array<std::vector<double>, 2> drive_v;
    std::array<std::vector<double>, 2> output_v;
};

SimulatedAmplifier bridged_as_wired(SimulatedAmplifier amplifier, const SimulatedWiring& wiring) {
    amplifier.second_channel_inverted = amplifier.second_channel_inverted || wiring.second_inverted;
    return amplifier;
}

Run::Run(const Bench& bench_, const SimulatedTake& take_, SimulatedWiring wiring_)
    : bench(bench_),
      take(take_),
      wiring(std::move(wiring_)),
      stages(fine_grid_stages(take_.tone->rate_hz)),
      play_frame(first_play_frame(bench_.simulated.card, take_.tone->rate_hz)),
      recorder(bench_, take_.tone->rate_hz, stages, take_.name),
      amplifier(bridged_as_wired(bench_.simulated.amplifier, wiring),
                std::ldexp(take_.tone->rate_hz, stages)),
      warming(bench_, wiring.loads),
      play{PlaySide(stages), PlaySide(stages)},
      tone_block(play_block_frames) {
    for (const WiredInput& wired : wiring.inputs) recorder.connect(wired.input);
    for (std::uint64_t channel = 0; channel < 2; ++channel)
        noise_sources.emplace_back(stream_seed(bench.simulated.seed, take.name, channel));
    for (std::vector<double>& channel : drive) channel.resize(play_block_frames);
}

void Run::fill_drive(double gain_from, double gain_to) {
    render(*take.tone, play_frame, tone_block);
    for (std::size_t c = 0; c < 2; ++c) {
        const std::size_t output = *wiring.feeds[c];
        const bool plays = std::find(take.outputs.begin(), take.outputs.end(), output) != take.outputs.end();
        const double volts = plays ? play_volts(bench, output) : 0.0;
        for (std::size_t i = 0; i < play_block_frames; ++i) {
            const double place = static_cast<double>(i) / static_cast<double>(play_block_frames);
            const double gain = gain_from + place * (gain_to - gain_from);
            drive[c][i] = volts * gain * std::clamp(static_cast<double>(tone_block[i]), -1.0, 1.0);
        }
    }
}

void Run::play_block(double gain_from, double gain_to) {
    fill_drive(gain_from, gain_to);
    for (std::size_t c = 0; c < 2; ++c) {
        play[c].process(drive[c], drive_v[c]);
        output_v[c].resize(drive_v[c].size());
    }
    amplifier.connect(warming.conductance_s());
    amplifier.process({drive_v[0], drive_v[1]}, {output_v[0], output_v[1]});
    warming.warm({output_v[0], output_v[1]}, static_cast<double>(play_block_frames) / take.tone->rate_hz);
    for (std::size_t i = 0; i < wiring.inputs.size(); ++i) {
        const WiredInput& wired = wiring.inputs[i];
        recorder.hear(i, wired.at_output ? output_v[wired.channel] : drive_v[wired.channel]);
    }
    play_frame += static_cast<std::int64_t>(play_block_frames);
}

std::span<const float> Run::ready_frames(std::int64_t end_frame) {
    const double rms_v =
        bench.simulated.amplifier.noise_v * std::sqrt(0.5 * take.tone->rate_hz / noise_band_hz);
    return recorder.ready_frames(end_frame, play_frame, [&](std::int64_t, std::span<double> volts) {
        std::array<double, 2> noise_v{};
        for (std::size_t c = 0; c < 2; ++c) noise_v[c] = rms_v * noise_sources[c].normal();
        for (std::size_t i = 0; i < volts.size(); ++i) {
            if (wiring.inputs[i].at_output) volts[i] = noise_v[wiring.inputs[i].channel];
        }
    });
}

}  // namespace

std::int64_t recorded_frames(const SimulatedCard& card, const Tone& tone) {
    const double played = static_cast<double>(tone.frames) + (card.delay_s + after_tone_s) * tone.rate_hz;
    return static_cast<std::int64_t>(std::ceil(played * (1.0 + 1e-6 * card.clock_ppm)));
}

Result<void> simulate_take(const Bench& bench, const SimulatedTake& take, const FrameSink& sink,
                           const std::function<void(double done)>& progress, const std::atomic<bool>& stop) {
    if (take.in_jig) return simulate_driver_take(bench, take, sink, progress, stop);
    auto wiring = wire(bench, take.loads);
    if (!wiring) return tl::unexpected(wiring.error());
    Run run(bench, take, std::move(wiring.value()));

    const std::int64_t asked_frames = recorded_frames(bench.simulated.card, *take.tone);
    std::int64_t end_frame = asked_frames;
    const double fade_blocks =
        std::ceil(fade_out_s * take.tone->rate_hz / static_cast<double>(play_block_frames));
    double gain = 1.0;
    bool stopping = false;
    while (run.recorder.next_frame() < end_frame) {
        if (!stopping && stop.load()) stopping = true;
        const double gain_from = gain;
        if (stopping) gain = std::max(gain - 1.0 / fade_blocks, 0.0);
        run.play_block(gain_from, gain);
        const std::span<const float> frames = run.ready_frames(end_frame);
        if (!frames.empty()) {
            if (auto written = sink(frames); !written) return written;
        }
        if (progress)
            progress(static_cast<double>(run.recorder.next_frame()) / static_cast<double>(asked_frames));
        if (stopping && gain_from == 0.0) {
            return fail(FaultKind::stopped, "stopped by hand",
                        "what was recorded is kept; go on with --resume");
        }
    }
    return {};
}

}  // namespace assay::capture
