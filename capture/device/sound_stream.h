// A running sound card: one stream that plays and records, or two where the devices differ. Between the
// card's callback and the program lie two rings; the callback copies samples, counts, and does nothing else:
// it allocates nothing, takes no lock, opens no file.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "capture/device/sound_devices.h"
#include "capture/fault.h"

namespace assay::capture {

struct StreamRequest {
    std::optional<SoundDevice> playback{};
    std::optional<SoundDevice> record{};
    double rate_hz = 96000.0;
    int play_channels = 0;  // that the program writes; more are opened where the device has only more
    int record_channels = 0;
    double ring_s = 4.0;  // length of both rings
};

/// What was asked and what was got, for the record.
struct StreamTerms {
    double asked_rate_hz = 0.0;
    double got_rate_hz = 0.0;
    double input_latency_s = 0.0;  // as the library states it, which is not exact; 0: not stated
    double output_latency_s = 0.0;
    std::string text() const;
};

struct StreamCounts {
    std::int64_t played = 0;             // frames handed to the card, silence included
    std::int64_t recorded = 0;           // frames that came from it
    std::int64_t input_overflows = 0;    // blocks that the card marked
    std::int64_t output_underflows = 0;  // the same
    std::int64_t lost = 0;               // frames that found the record ring full
    std::int64_t starved = 0;            // frames that found the play ring empty before the tone's end
    bool runs_at_another_rate = false;   // steadily, by the clock on the wall
    double recorded_rate_hz = 0.0;       // frames over the clock on the wall; 0 before a second has passed
};

class SoundStream {
  public:
    [[nodiscard]] static Result<std::unique_ptr<SoundStream>> open(
        const std::shared_ptr<SoundLibrary>& library, const StreamRequest& request);
    virtual ~SoundStream() = default;
    SoundStream(const SoundStream&) = delete;
    SoundStream& operator=(const SoundStream&) = delete;

    [[nodiscard]] virtual Result<void> start() = 0;
    /// False once the device is gone.
    virtual bool running() const = 0;
    virtual void stop() = 0;

    /// Interleaved frames of play_channels; false where the ring has no room for all of them.
    virtual bool play(std::span<const float> interleaved) = 0;
    /// No more will be played: an empty ring is silence from here on, and no fault.
    virtual void end_of_tone() = 0;
    /// Frames that wait to be played.
    virtual std::int64_t waiting() const = 0;

    /// Interleaved frames of record_channels, as many as the span holds; false where there are fewer.
    virtual bool record(std::span<float> interleaved) = 0;
    virtual std::int64_t recorded_waiting() const = 0;

    /// Fades what is playing to silence, at once and whatever waits in the ring; for good.
    virtual void fade_out() = 0;
    virtual bool faded() const = 0;

    virtual StreamCounts counts() const = 0;
    virtual StreamTerms terms() const = 0;

    static constexpr double fade_s = 0.02;

  protected:
    SoundStream() = default;
};

}  // namespace assay::capture
