// The one interface between the program and a bench: play a tone, record what comes back. Live,
// simulated and recorded-elsewhere captures enter here and are the same thing from there on.
#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "capture/device/fall_watch.h"
#include "capture/fault.h"
#include "capture/recording.h"
#include "capture/tone/tone.h"

namespace assay::capture {

struct PlayRequest {
    std::string capture_name{};  // file name without extension, e.g. the test's id
    const Tone* tone = nullptr;
    std::vector<std::size_t> outputs{};  // indices into Bench::outputs that play the tone; others stay silent
    std::filesystem::path into{};        // folder that the capture is written to
    std::function<void(double done)> progress{};  // 0..1, may be empty
    std::vector<std::size_t> loads{};  // indices into Bench::loads that are connected, for a bench that has
                                       // no hands to wire them; empty: all
    /// What sits in the impedance jig, for a bench that has no hands to put it there.
    struct InJig {
        bool both_inputs_on_one_node = false;  // measure `match`
        double added_mass_g = 0.0;
        double test_box_l = 0.0;  // 0: free air
    };
    std::optional<InJig> in_jig{};  // nothing: the test has no part in the jig
    /// A live bench: the tone fades out at the first overload of an input or lost block, instead of going on
    /// to its end; what was captured is kept, and the recording's flags say why it is shorter.
    bool stop_on_trouble = false;
    std::optional<FallEnd> end_on_fall{};  // a live bench: the tone fades out where its level has fallen
};

class Device {
  public:
    virtual ~Device() = default;
    /// Plays and records; the capture is on disk when this returns. `stop` set: fade out, keep what was
    /// captured, return a fault of kind stopped.
    [[nodiscard]] virtual Result<Recording> play_and_record(const PlayRequest& request,
                                                            const std::atomic<bool>& stop) = 0;
    /// True for captures that show no real unit.
    virtual bool simulated() const { return false; }
};

}  // namespace assay::capture
