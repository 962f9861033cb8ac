// Which sound devices a bench file means.
#pragma once

#include <memory>
#include <vector>

#include "capture/bench.h"
#include "capture/device/live.h"
#include "capture/device/sound_devices.h"
#include "capture/fault.h"

namespace assay::cli {

struct SoundChoice {
    std::shared_ptr<capture::SoundLibrary> library{};
    capture::LiveDevices devices{};
};

enum class Direction { play, record };

/// The one device whose name, or "host API: name", contains the words (upper and lower case alike) and that
/// has channels in that direction. A device whose whole name it is wins. Faults name the nearest, or those
/// among which the words do not choose. `key` opens the message: "record_device".
[[nodiscard]] capture::Result<capture::SoundDevice> choose_device(
    const std::vector<capture::SoundDevice>& devices, const std::string& words, Direction direction,
    const std::string& key);

/// Starts the sound library and finds the bench's devices. `plays` false: the playback device is not looked
/// for.
[[nodiscard]] capture::Result<SoundChoice> choose_sound(const capture::Bench& bench,
                                                        const std::string& bench_file, bool plays);

}  // namespace assay::cli
