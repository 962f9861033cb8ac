#include "capture/device/sound_stream.h"

#include <fmt/format.h>
#include <portaudio.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <future>
#include <thread>
#include <utility>

#include "capture/device/stream_side.h"

namespace assay::capture {

namespace {

// Longer blocks than this are taken in parts.
constexpr std::size_t longest_callback = 16384;

double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

/// What the library's thread works on. It outlives the stream where the library does not let go of it.
struct StreamSides {
    std::unique_ptr<PlaySideOfStream> play{};
    std::unique_ptr<RecordSideOfStream> record{};
    std::atomic<std::int64_t> input_overflows{0};
    std::atomic<std::int64_t> output_underflows{0};
};

/// Where a server has died, the library may wait for it for minutes. Nobody waits for the library longer than
/// this; what it does not give back is left to it until the program ends.
constexpr auto longest_closing = std::chrono::seconds(2);

class PortAudioStream final : public SoundStream {
  public:
    PortAudioStream(std::shared_ptr<SoundLibrary> library, const StreamRequest& request)
        : library_(std::move(library)), request_(request) {}
    PortAudioStream(const PortAudioStream&) = delete;
    PortAudioStream& operator=(const PortAudioStream&) = delete;
    ~PortAudioStream() override { close(); }

    Result<void> open();

    Result<void> start() override {
        for (PaStream* stream : {duplex_, record_only_, play_only_}) {
            if (stream == nullptr) continue;
            if (const PaError error = Pa_StartStream(stream); error != paNoError)
                return broken("does not start", error);
        }
        started_ = true;
        return {};
    }
    bool running() const override {
        for (PaStream* stream : {duplex_, record_only_, play_only_}) {
            if (stream != nullptr && Pa_IsStreamActive(stream) != 1) return false;
        }
        return true;
    }
    void stop() override { close(); }

    bool play(std::span<const float> interleaved) override {
        return sides_->play && sides_->play->ring().write(interleaved);
    }
    void end_of_tone() override {
        if (sides_->play) sides_->play->end_of_tone();
    }
    std::int64_t waiting() const override {
        if (!sides_->play) return 0;
        return static_cast<std::int64_t>(sides_->play->ring().readable()) / request_.play_channels;
    }
    bool record(std::span<float> interleaved) override {
        return sides_->record && sides_->record->ring().read(interleaved);
    }
    std::int64_t recorded_waiting() const override {
        if (!sides_->record) return 0;
        return static_cast<std::int64_t>(sides_->record->ring().readable()) / request_.record_channels;
    }
    void fade_out() override {
        if (sides_->play) sides_->play->fade_out();
    }
    bool faded() const override { return !sides_->play || sides_->play->faded(); }

    StreamCounts counts() const override {
        StreamCounts counts;
        if (const auto& play = sides_->play) {
            counts.played = play->played();
            counts.starved = play->starved();
        }
        if (const auto& record = sides_->record) {
            counts.recorded = record->recorded();
            counts.lost = record->lost();
            counts.recorded_rate_hz = record->rate_hz();
            counts.runs_at_another_rate = record->runs_at_another(request_.rate_hz);
        }
        counts.input_overflows = sides_->input_overflows.load();
        counts.output_underflows = sides_->output_underflows.load();
        return counts;
    }
    StreamTerms terms() const override { return terms_; }

  private:
    static int on_block(const void* in, void* out, unsigned long frames, const PaStreamCallbackTimeInfo*,
                        PaStreamCallbackFlags flags, void* self) {
        auto& sides = *static_cast<StreamSides*>(self);
        if ((flags & (paInputOverflow | paInputUnderflow)) != 0U) sides.input_overflows.fetch_add(1);
        if ((flags & paOutputUnderflow) != 0U) sides.output_underflows.fetch_add(1);
        // Of two streams, each sees only its own side.
        if (in != nullptr && sides.record) sides.record->take(static_cast<const float*>(in), frames, now_s());
        if (out != nullptr && sides.play) sides.play->fill(static_cast<float*>(out), frames);
        return paContinue;
    }

    PaError open_one(PaStream** stream, bool with_record, bool with_play) {
        PaStreamParameters in{};
        PaStreamParameters out{};
        if (with_record) {
            in = {request_.record->index, record_channels_, paFloat32, request_.record->latency_s, nullptr};
        }
        if (with_play) {
            out = {request_.playback->index, play_channels_, paFloat32, request_.playback->latency_s,
                   nullptr};
        }
        const PaError error = Pa_OpenStream(
            stream, with_record ? &in : nullptr, with_play ? &out : nullptr, request_.rate_hz,
            paFramesPerBufferUnspecified, paClipOff | paDitherOff, &PortAudioStream::on_block, sides_.get());
        if (error != paNoError) {
            *stream = nullptr;
            return error;
        }
        if (const PaStreamInfo* info = Pa_GetStreamInfo(*stream)) {
            terms_.got_rate_hz = info->sampleRate;
            // What a driver states is not always a latency.
            const auto sensible_s = [](double stated_s) {
                return stated_s > 0.0 && stated_s < 1.0 ? stated_s : 0.0;
            };
            if (with_record) terms_.input_latency_s = sensible_s(info->inputLatency);
            if (with_play) terms_.output_latency_s = sensible_s(info->outputLatency);
        }
        return paNoError;
    }

    tl::unexpected<Fault> broken(const char* what, PaError error) const {
        const SoundDevice& device = request_.record ? *request_.record : *request_.playback;
        std::string why = Pa_GetErrorText(error);
        if (error == paUnanticipatedHostError) {
            if (const PaHostErrorInfo* info = Pa_GetLastHostErrorInfo();
                info != nullptr && info->errorText != nullptr)
                why = info->errorText;
        }
        const std::string mend =
            error == paInvalidSampleRate
                ? fmt::format(
                      "set sample_rate_hz of the bench file to what the device runs at ({:.0f} Hz), or "
                      "change "
                      "the device's rate",
                      device.default_rate_hz)
                : "see `assay devices`, end other programs that use the device, try again";
        return fail(error == paInvalidSampleRate ? FaultKind::bad_arguments : FaultKind::untrusted_capture,
                    fmt::format("sound device \"{}\" ({}) {} at {:.0f} Hz ({})", device.name, device.host_api,
                                what, request_.rate_hz, why),
                    mend);
    }

    void close() {
        const std::array<PaStream*, 3> streams{std::exchange(play_only_, nullptr),
                                               std::exchange(duplex_, nullptr),
                                               std::exchange(record_only_, nullptr)};
        if (std::ranges::all_of(streams, [](const PaStream* stream) { return stream == nullptr; })) return;
        // The thread holds all that the library still uses, itself included.
        std::promise<void> closed;
        std::future<void> closing = closed.get_future();
        std::thread closer([streams, started = started_, sides = sides_, library = library_,
                            done = std::move(closed)]() mutable {
            for (PaStream* stream : streams) {
                if (stream == nullptr) continue;
                if (started) Pa_AbortStream(stream);
                Pa_CloseStream(stream);
            }
            done.set_value();
        });
        if (closing.wait_for(longest_closing) == std::future_status::ready) {
            closer.join();
            return;
        }
        library_->give_up();
        closer.detach();
    }

    std::shared_ptr<SoundLibrary> library_;
    StreamRequest request_;
    StreamTerms terms_{};
    int play_channels_ = 0;  // opened
    int record_channels_ = 0;
    std::shared_ptr<StreamSides> sides_ = std::make_shared<StreamSides>();
    PaStream* duplex_ = nullptr;
    PaStream* record_only_ = nullptr;
    PaStream* play_only_ = nullptr;
    bool started_ = false;
};

Result<void> PortAudioStream::open() {
    if (library_->given_up()) {
        return fail(FaultKind::untrusted_capture, "the sound system does not answer any more",
                    "start its server again, then go on with --resume");
    }
    const auto ring_frames = static_cast<std::size_t>(request_.ring_s * request_.rate_hz);
    const auto too_few = [](const SoundDevice& device, const char* what, int has, int needs) {
        return fail(FaultKind::bad_arguments,
                    fmt::format("sound device \"{}\" ({}) {} {} channel{}, the bench needs channel {}",
                                device.name, device.host_api, what, has, has == 1 ? "" : "s", needs),
                    "choose another device or correct the channel numbers of the bench file");
    };
    // All channels of a small device are opened: asked for one channel, some drivers add two up.
    constexpr int few = 8;
    if (request_.playback) {
        const SoundDevice& device = *request_.playback;
        if (device.outputs < request_.play_channels)
            return too_few(device, "plays", device.outputs, request_.play_channels);
        play_channels_ = device.outputs <= few ? device.outputs : request_.play_channels;
        sides_->play = std::make_unique<PlaySideOfStream>(request_.play_channels, play_channels_, ring_frames,
                                                          SoundStream::fade_s * request_.rate_hz);
    }
    if (request_.record) {
        const SoundDevice& device = *request_.record;
        if (device.inputs < request_.record_channels)
            return too_few(device, "records", device.inputs, request_.record_channels);
        record_channels_ = device.inputs <= few ? device.inputs : request_.record_channels;
        sides_->record = std::make_unique<RecordSideOfStream>(request_.record_channels, record_channels_,
                                                              ring_frames, longest_callback);
    }
    terms_.asked_rate_hz = request_.rate_hz;
    PaError error = paNoError;
    if (request_.playback && request_.record && request_.playback->index == request_.record->index) {
        error = open_one(&duplex_, true, true);
    } else {
        // One stream over two devices would make the library drop or double frames to hide their drift.
        if (request_.record) error = open_one(&record_only_, true, false);
        if (error == paNoError && request_.playback) error = open_one(&play_only_, false, true);
    }
    if (error != paNoError) return broken("cannot be opened", error);
    return {};
}

}  // namespace

std::string StreamTerms::text() const {
    std::string text = fmt::format("asked {:.0f} Hz, got {:.0f} Hz", asked_rate_hz, got_rate_hz);
    if (input_latency_s > 0.0) text += fmt::format(", latency in {:.1f} ms", 1e3 * input_latency_s);
    if (output_latency_s > 0.0) text += fmt::format(", out {:.1f} ms", 1e3 * output_latency_s);
    return text;
}

Result<std::unique_ptr<SoundStream>> SoundStream::open(const std::shared_ptr<SoundLibrary>& library,
                                                       const StreamRequest& request) {
    auto stream = std::make_unique<PortAudioStream>(library, request);
    if (auto opened = stream->open(); !opened) return tl::unexpected(opened.error());
    return stream;
}

}  // namespace assay::capture
