// One take on the simulated bench: a tone goes in block by block, what the card records comes out
// block by block; memory does not grow with the length. Loads start cold in every take, so that a
// take does not depend on those before it.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/device/device.h"
#include "capture/fault.h"
#include "capture/simulated/recorder.h"
#include "capture/tone/tone.h"

namespace assay::capture {

struct SimulatedTake {
    std::string name{};  // with the bench's seed: the seed of this take's noise
    const Tone* tone = nullptr;
    std::vector<std::size_t> outputs{};          // that play the tone
    std::vector<std::size_t> loads{};            // that are connected; empty: all (see wiring.h)
    std::optional<PlayRequest::InJig> in_jig{};  // the impedance jig is used, not the amplifier
};

/// Takes interleaved frames, as many channels as recorded_channels() says.
using FrameSink = std::function<Result<void>(std::span<const float> interleaved)>;

/// Frames that a take of this tone records: the whole tone, the delay and a tenth of a second more.
std::int64_t recorded_frames(const SimulatedCard& card, const Tone& tone);

/// Play frame n stands at record time delay_s + n / rate (the amplifier's own phase apart). `stop`
/// set: the tone fades out in 20 ms, what was recorded until then has gone to `sink`, and a fault of
/// kind stopped is returned.
[[nodiscard]] Result<void> simulate_take(const Bench& bench, const SimulatedTake& take, const FrameSink& sink,
                                         const std::function<void(double done)>& progress,
                                         const std::atomic<bool>& stop);

}  // namespace assay::capture
