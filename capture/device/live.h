// A real bench: plays a tone on a sound device and records what comes back, in real time. The capture goes to
// the disk while it runs; memory does not grow with its length.
//
// What is found by checks rather than by trust: blocks that the card marked or that the program lost, frames
// per second of the clock on the wall, exact zeros (a permission that was not given, a dead input), 16-bit
// samples in a 24-bit dress, a device that is gone.
#pragma once

#include <memory>
#include <optional>

#include "capture/bench.h"
#include "capture/device/device.h"
#include "capture/device/sound_devices.h"

namespace assay::capture {

struct LiveDevices {
    std::optional<SoundDevice> playback{};  // none: nothing is played
    SoundDevice record{};
};

class LiveDevice final : public Device {
  public:
    LiveDevice(Bench bench, std::shared_ptr<SoundLibrary> library, LiveDevices devices)
        : bench_(std::move(bench)), library_(std::move(library)), devices_(std::move(devices)) {}

    /// Writes `<into>/<capture_name>.wav`, 24 bit, channel n being input channel n. Stopped by hand or by
    /// trouble, the tone fades out within SoundStream::fade_s and what was captured is kept. The recording's
    /// flags begin with what was asked and got; each further one is a trouble.
    [[nodiscard]] Result<Recording> play_and_record(const PlayRequest& request,
                                                    const std::atomic<bool>& stop) override;

  private:
    Bench bench_;
    std::shared_ptr<SoundLibrary> library_;
    LiveDevices devices_;
};

/// Channels that a recording of this bench has: the highest channel number of its inputs.
int channels_to_record(const Bench& bench);
int channels_to_play(const Bench& bench);

}  // namespace assay::capture
