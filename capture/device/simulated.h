// The simulated bench as a device: plays a tone into a simulated amplifier and writes what a simulated
// sound card records. Everything that it needs is in the bench: Bench::simulated and the wiring
// (capture/simulated/wiring.h tells which output feeds which amplifier channel).
#pragma once

#include <utility>

#include "capture/bench.h"
#include "capture/device/device.h"

namespace assay::capture {

/// Writes `<into>/<capture_name>.wav`, 24 bit, channel n being input channel n. The same bench, tone and
/// name give the same samples. Real time does not pass.
class SimulatedDevice final : public Device {
  public:
    explicit SimulatedDevice(Bench bench) : bench_(std::move(bench)) {}
    [[nodiscard]] Result<Recording> play_and_record(const PlayRequest& request,
                                                    const std::atomic<bool>& stop) override;
    bool simulated() const override { return true; }

  private:
    Bench bench_;
};

}  // namespace assay::capture
