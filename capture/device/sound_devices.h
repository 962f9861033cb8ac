// The computer's sound devices, as PortAudio sees them (ALSA and JACK host APIs on Linux). One card stands in
// the list once for each host API.
#pragma once

#include <atomic>
#include <memory>
#include <string>
#include <vector>

#include "capture/fault.h"

namespace assay::capture {

/// The sound library, started and ended once. The list of devices is as fresh as this object.
class SoundLibrary {
  public:
    [[nodiscard]] static Result<std::shared_ptr<SoundLibrary>> start();
    SoundLibrary(const SoundLibrary&) = delete;
    SoundLibrary& operator=(const SoundLibrary&) = delete;
    ~SoundLibrary();

    /// The library waits for a server that is gone: nothing is asked of it any more, nor is it ended.
    void give_up() { given_up_ = true; }
    bool given_up() const { return given_up_; }

  private:
    SoundLibrary() = default;
    std::atomic<bool> given_up_{false};
};

struct SoundDevice {
    int index = -1;  // the library's own; good while the SoundLibrary lives
    std::string host_api{};
    std::string name{};
    int inputs = 0;  // channels that it records
    int outputs = 0;
    double default_rate_hz = 0.0;
    double latency_s = 0.0;  // the longer of the two that the library suggests
    /// JACK runs all its clients from one clock, whatever their names.
    bool one_clock_with_all() const { return host_api.find("JACK") != std::string::npos; }
    bool plays_and_records() const { return inputs > 0 && outputs > 0; }
};

std::vector<SoundDevice> list_devices(const SoundLibrary& library);

/// Those of the usual rates that the device says it can run at. Asking opens some drivers for a moment.
std::vector<double> rates_of(const SoundLibrary& library, const SoundDevice& device);

/// Two devices on one clock: the same device, or two clients of JACK.
bool one_clock(const SoundDevice& first, const SoundDevice& second);

}  // namespace assay::capture
