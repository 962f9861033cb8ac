#include "capture/device/bench_sound.h"

#include <chrono>
#include <cmath>
#include <numbers>

#include "capture/units.h"

namespace assay::capture {

namespace {

using namespace std::chrono_literals;

constexpr std::int64_t sound_frames = 512;
constexpr double fade_in_s = 0.2;
constexpr double play_ahead_s = 0.3;
constexpr auto poll = 3ms;
constexpr auto longest_wait = 2s;

}  // namespace

Result<std::unique_ptr<BenchSound>> BenchSound::open(const Bench& bench,
                                                     const std::shared_ptr<SoundLibrary>& library,
                                                     const LiveDevices& devices,
                                                     const std::optional<SteadySound>& sound) {
    StreamRequest wanted;
    wanted.record = devices.record;
    wanted.rate_hz = bench.sample_rate_hz;
    wanted.record_channels = channels_to_record(bench);
    wanted.play_channels = channels_to_play(bench);
    if (sound) wanted.playback = devices.playback;
    std::unique_ptr<BenchSound> running(new BenchSound);
    auto stream = SoundStream::open(library, wanted);
    if (!stream) return tl::unexpected(stream.error());
    running->stream_ = std::move(*stream);
    running->channels_ = wanted.record_channels;
    running->rate_hz_ = wanted.rate_hz;
    running->sound_ = sound;
    if (sound) {
        running->gains_.assign(static_cast<std::size_t>(wanted.play_channels), 0.0F);
        const auto amplitude = static_cast<float>(ratio_from_decibels(sound->level_dbfs));
        for (const std::size_t index : sound->outputs) {
            const Output& output = bench.outputs[index];
            running->gains_[static_cast<std::size_t>(output.channel - 1)] =
                output.inverted ? -amplitude : amplitude;
        }
        running->feeder_ = std::thread([self = running.get()] { self->feed(); });
    }
    if (auto started = running->stream_->start(); !started) return tl::unexpected(started.error());
    return running;
}

BenchSound::~BenchSound() {
    end();
}

void BenchSound::feed() {
    std::vector<float> block(static_cast<std::size_t>(sound_frames) * gains_.size());
    const auto ahead = static_cast<std::int64_t>(play_ahead_s * rate_hz_);
    std::int64_t frame = 0;
    while (!quit_) {
        if (stream_->waiting() > ahead) {
            std::this_thread::sleep_for(poll);
            continue;
        }
        for (std::int64_t n = 0; n < sound_frames; ++n, ++frame) {
            const double seconds = static_cast<double>(frame) / rate_hz_;
            const double part = std::min(1.0, seconds / fade_in_s);
            // Whole turns are taken off first, so that hours of a tone keep their phase.
            const double turns = std::fmod(seconds * sound_->frequency_hz, 1.0);
            const double value = (0.5 - 0.5 * std::cos(std::numbers::pi * part)) * std::sin(two_pi * turns);
            for (std::size_t c = 0; c < gains_.size(); ++c)
                block[static_cast<std::size_t>(n) * gains_.size() + c] =
                    gains_[c] * static_cast<float>(value);
        }
        stream_->play(block);
    }
}

Result<bool> BenchSound::next(std::span<float> interleaved, const std::atomic<bool>& stop) {
    const auto until = std::chrono::steady_clock::now() + longest_wait;
    while (!stream_->record(interleaved)) {
        if (stop) return false;
        if (!stream_->running() || std::chrono::steady_clock::now() > until) {
            return fail(FaultKind::untrusted_capture, "the sound device is gone or has stopped",
                        "look at its cable and its server, then start again");
        }
        std::this_thread::sleep_for(poll);
    }
    return true;
}

void BenchSound::end() {
    if (!stream_) return;
    if (sound_) {
        stream_->fade_out();
        const auto until = std::chrono::steady_clock::now() + 500ms;
        while (!stream_->faded() && stream_->running() && std::chrono::steady_clock::now() < until)
            std::this_thread::sleep_for(poll);
        // The card still holds what was handed to it.
        std::this_thread::sleep_for(50ms);
    }
    quit_ = true;
    if (feeder_.joinable()) feeder_.join();
    stream_->stop();
    stream_.reset();
}

}  // namespace assay::capture
