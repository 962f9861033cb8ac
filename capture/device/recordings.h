// Recordings made elsewhere as a device: what it is told to play is ignored, since somebody has played
// the tone files already; the capture is DIR/<capture name>.wav or .flac (also .rf64, .w64, .aif and
// .aiff; the ending in any case), copied byte for byte.
#pragma once

#include <filesystem>

#include "capture/device/device.h"

namespace assay::capture {

class RecordingsDevice final : public Device {
  public:
    explicit RecordingsDevice(std::filesystem::path folder) : folder_(std::move(folder)) {}

    /// Where the recording lies. Faults: no folder, no recording, or more than one of the name.
    [[nodiscard]] Result<std::filesystem::path> find(const std::string& capture_name) const;
    [[nodiscard]] Result<Recording> play_and_record(const PlayRequest& request,
                                                    const std::atomic<bool>& stop) override;

  private:
    std::filesystem::path folder_;
};

}  // namespace assay::capture
