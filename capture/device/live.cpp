#include "capture/device/live.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>

#include "capture/device/block_watch.h"
#include "capture/device/sound_stream.h"

namespace assay::capture {

namespace {

using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

constexpr std::int64_t live_block_frames = 1024;
constexpr double tail_s = 0.25;          // recorded after the tone, on top of the latencies
constexpr double settling_s = 0.3;       // of the stream; a tone is silent for longer
constexpr double longest_zeros_s = 0.5;  // from the start on
constexpr double rate_tolerance = 0.02;  // the nearest pair of usual rates lies 8.8 % apart
constexpr double rate_known_after_s = 2.0;
constexpr double no_clock = 2.0;  // times the clock on the wall: a plug into nothing gives samples at once
constexpr double no_clock_slack_s = 0.5;
constexpr const char* name_the_card =
    "name the sound card itself as record_device: `assay devices` lists what there is";
constexpr auto longest_stall = 2s;
constexpr auto poll_every = 4ms;

/// Renders the tone into the play ring ahead of the card, in a thread of its own, so that a slow disk cannot
/// starve it.
class Feeder {
  public:
    Feeder(const Tone& tone, std::vector<float> gains, SoundStream& stream)
        : tone_(tone), gains_(std::move(gains)), stream_(stream) {}
    Feeder(const Feeder&) = delete;
    Feeder& operator=(const Feeder&) = delete;
    ~Feeder() {
        quit_ = true;
        if (thread_.joinable()) thread_.join();
    }

    /// Fills the ring before the card starts, then goes on by itself.
    void start() {
        render_next();
        while (next_ < tone_.frames && stream_.play(interleaved_)) advance();
        thread_ = std::thread([this] { run(); });
    }
    bool done() const { return done_; }

  private:
    void render_next() {
        const std::int64_t count = std::min(live_block_frames, tone_.frames - next_);
        mono_.resize(static_cast<std::size_t>(std::max<std::int64_t>(count, 0)));
        render(tone_, next_, mono_);
        interleaved_.clear();
        for (const float sample : mono_) {
            for (const float gain : gains_) interleaved_.push_back(gain * sample);
        }
    }
    void advance() {
        next_ += static_cast<std::int64_t>(mono_.size());
        if (next_ < tone_.frames) render_next();
    }
    void run() {
        while (!quit_ && next_ < tone_.frames) {
            if (stream_.play(interleaved_)) {
                advance();
            } else {
                std::this_thread::sleep_for(poll_every);
            }
        }
        stream_.end_of_tone();
        done_ = true;
    }

    const Tone& tone_;
    std::vector<float> gains_;
    SoundStream& stream_;
    std::vector<float> mono_{};
    std::vector<float> interleaved_{};
    std::int64_t next_ = 0;
    std::atomic<bool> quit_{false};
    std::atomic<bool> done_{false};
    std::thread thread_{};
};

std::vector<float> gains_of(const Bench& bench, const std::vector<std::size_t>& outputs) {
    std::vector<float> gains(static_cast<std::size_t>(channels_to_play(bench)), 0.0F);
    for (const std::size_t index : outputs) {
        const Output& output = bench.outputs[index];
        gains[static_cast<std::size_t>(output.channel - 1)] = output.inverted ? -1.0F : 1.0F;
    }
    return gains;
}

tl::unexpected<Fault> distrust(const std::string& text, double at_s, const std::string& mend) {
    return tl::unexpected(Fault{FaultKind::untrusted_capture, text, at_s, mend});
}

/// One capture while it runs.
class Take {
  public:
    Take(SoundStream& stream, RecordingWriter& writer, const PlayRequest& request, const Bench& bench)
        : stream_(stream),
          writer_(writer),
          request_(request),
          bench_(bench),
          channels_(channels_to_record(bench)),
          watch_(channels_, request.tone->rate_hz),
          block_(static_cast<std::size_t>(live_block_frames * channels_)) {
        if (request.end_on_fall) fall_.emplace(*request.end_on_fall, channels_, request.tone->rate_hz);
    }

    /// Until the tone has ended and its echo is in. `stopped`: by hand.
    Result<void> run(Feeder& feeder, const std::atomic<bool>& stop, bool& stopped) {
        const double rate = request_.tone->rate_hz;
        const StreamTerms terms = stream_.terms();
        const auto tail =
            static_cast<std::int64_t>((tail_s + terms.input_latency_s + terms.output_latency_s) * rate);
        std::int64_t end = -1;  // frame of the recording at which all is in
        const Clock::time_point began = Clock::now();
        Clock::time_point last_frame = began;
        while (end < 0 || watch_.frames() < end) {
            if (stop && !stopped) {
                stopped = true;
                stream_.fade_out();
            }
            bool any = false;
            while (stream_.recorded_waiting() >= live_block_frames && stream_.record(block_)) {
                any = true;
                if (!std::ranges::all_of(block_, [](float sample) { return std::isfinite(sample); })) {
                    return distrust(
                        fmt::format("the sound device gives samples that are no numbers, {:.2f} s into the "
                                    "capture: no converter is behind it",
                                    at_s()),
                        at_s(), name_the_card);
                }
                watch_.look_at(block_);
                if (fall_) fall_->look_at(block_);
                if (auto written = writer_.write(block_); !written) return written;
            }
            if (any) last_frame = Clock::now();
            if (auto sound = judge(end); !sound) return sound;
            if (request_.progress && request_.tone->frames > 0)
                request_.progress(std::min(
                    1.0, static_cast<double>(watch_.frames()) / static_cast<double>(request_.tone->frames)));
            if (fall_ && !ended_ && fall_->fallen()) {
                ended_ = true;
                stream_.fade_out();
            }
            const bool silent = stream_.faded() && (stopped || trouble_ || ended_);
            if (end < 0 && (silent || (feeder.done() && stream_.waiting() == 0)))
                end = watch_.frames() + tail;
            if (!stream_.running() || Clock::now() - last_frame > longest_stall) {
                return distrust(
                    fmt::format("the sound device is gone or has stopped, {:.2f} s into the capture", at_s()),
                    at_s(), "look at its cable and its server, then run again with --resume");
            }
            std::this_thread::sleep_for(poll_every);
        }
        const double ran_s = std::chrono::duration<double>(Clock::now() - began).count();
        if (at_s() > no_clock * ran_s + no_clock_slack_s) {
            return distrust(
                fmt::format(
                    "the sound device gave {:.1f} s of sound within {:.1f} s: no converter is behind it",
                    at_s(), ran_s),
                0.0, name_the_card);
        }
        return {};
    }

    /// What the recording's flags say.
    std::vector<std::string> flags() const {
        std::vector<std::string> flags{stream_.terms().text()};
        const StreamCounts counts = since_start();
        const auto count = [&](std::int64_t number, const char* one, const char* what) {
            if (number > 0)
                flags.push_back(fmt::format("{} {}{} {}", number, one, number == 1 ? "" : "s", what));
        };
        count(counts.input_overflows, "block", "that the device marked as lost on the record side");
        count(counts.output_underflows, "block", "that the device marked as late on the play side");
        count(counts.lost, "frame", "lost because the disk was too slow");
        count(counts.starved, "frame", "of silence in the tone because the program was too slow");
        if (watch_.only_16_bits()) flags.emplace_back("the samples hold 16 bits, not 24");
        if (trouble_) flags.push_back("stopped early: " + *trouble_);
        return flags;
    }

    Result<void> check_rate() const {
        const double rate = request_.tone->rate_hz;
        const double got = stream_.counts().recorded_rate_hz;
        if (static_cast<double>(watch_.frames()) < rate_known_after_s * rate || got <= 0.0) return {};
        if (std::abs(got / rate - 1.0) <= rate_tolerance || !stream_.counts().runs_at_another_rate) return {};
        return distrust(
            fmt::format("the sound device gives {:.0f} frames a second by the clock on the wall, not {:.0f}",
                        got, rate),
            0.0,
            "something between program and card changes the rate: name the card itself, not a plug "
            "or mixer, or set sample_rate_hz to its own rate");
    }

  private:
    double at_s() const { return static_cast<double>(watch_.frames()) / request_.tone->rate_hz; }

    Result<void> judge(std::int64_t end) {
        if (watch_.zeros_s() > longest_zeros_s && end < 0) {
            if (watch_.zeros_s() >= at_s() - 1e-9) {
                return distrust(
                    "nothing but exact zeros in every input: no converter is behind them", 0.0,
                    "give the program the permission to record, choose another record_device, look at "
                    "the input's switch in the mixer");
            }
            const double from_s = at_s() - watch_.zeros_s();
            return distrust(
                fmt::format("nothing but exact zeros from {:.2f} s on: the sound device is gone", from_s),
                from_s, "look at its cable and its server, then run again with --resume");
        }
        if (at_s() < settling_s) at_start_ = stream_.counts();
        if (!request_.stop_on_trouble || trouble_) return {};
        const StreamCounts counts = since_start();
        if (const auto overload = watch_.overload()) {
            trouble_ = fmt::format("input overload: \"{}\" is at full scale at {:.2f} s",
                                   input_name(overload->channel), overload->at_s);
        } else if (counts.lost + counts.starved > 0) {
            // A device's own mark is no proof: some set it for nothing. The marks in the tone tell.
            trouble_ = fmt::format("dropout: blocks were lost at about {:.2f} s", at_s());
        }
        if (trouble_) stream_.fade_out();
        return {};
    }

    /// Marks of the first instants, in which drivers find their feet and the tone is silent, do not count.
    StreamCounts since_start() const {
        StreamCounts counts = stream_.counts();
        counts.input_overflows -= at_start_.input_overflows;
        counts.output_underflows -= at_start_.output_underflows;
        counts.lost -= at_start_.lost;
        counts.starved -= at_start_.starved;
        return counts;
    }

    std::string input_name(int channel) const {
        for (const Input& input : bench_.inputs) {
            if (input.channel == channel) return input.name;
        }
        return fmt::format("channel {}", channel);
    }

    SoundStream& stream_;
    RecordingWriter& writer_;
    const PlayRequest& request_;
    const Bench& bench_;
    int channels_;
    BlockWatch watch_;
    std::vector<float> block_;
    StreamCounts at_start_{};
    std::optional<std::string> trouble_{};
    std::optional<FallWatch> fall_{};
    bool ended_ = false;  // by it
};

}  // namespace

int channels_to_record(const Bench& bench) {
    int channels = 1;
    for (const Input& input : bench.inputs) channels = std::max(channels, input.channel);
    return channels;
}

int channels_to_play(const Bench& bench) {
    int channels = 1;
    for (const Output& output : bench.outputs) channels = std::max(channels, output.channel);
    return channels;
}

Result<Recording> LiveDevice::play_and_record(const PlayRequest& request, const std::atomic<bool>& stop) {
    if (stop) return fail(FaultKind::stopped, "stopped by hand");
    StreamRequest wanted;
    wanted.playback = devices_.playback;
    wanted.record = devices_.record;
    wanted.rate_hz = request.tone->rate_hz;
    wanted.play_channels = channels_to_play(bench_);
    wanted.record_channels = channels_to_record(bench_);
    auto stream = SoundStream::open(library_, wanted);
    if (!stream) return tl::unexpected(stream.error());
    constexpr int file_bits = 24;
    const std::filesystem::path path = request.into / (request.capture_name + ".wav");
    auto writer = RecordingWriter::create(path, wanted.rate_hz, wanted.record_channels, file_bits);
    if (!writer) return tl::unexpected(writer.error());

    Take take(**stream, *writer, request, bench_);
    bool stopped = false;
    Result<void> ran{};
    {
        Feeder feeder(*request.tone, gains_of(bench_, request.outputs), **stream);
        feeder.start();
        if (auto started = (*stream)->start(); !started) return tl::unexpected(started.error());
        ran = take.run(feeder, stop, stopped);
        (*stream)->stop();
    }
    // What was captured before the trouble is kept, whatever it was.
    if (auto finished = writer->finish(); !finished) return tl::unexpected(finished.error());
    if (stopped)
        return fail(FaultKind::stopped, "stopped by hand", "what was captured is kept; go on with --resume");
    if (!ran) return tl::unexpected(ran.error());
    if (auto rate = take.check_rate(); !rate) return tl::unexpected(rate.error());
    auto recording = open_recording(path);
    if (!recording) return recording;
    recording->flags = take.flags();
    return recording;
}

}  // namespace assay::capture
