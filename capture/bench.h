// The bench: which channel sees what, and how a sample value becomes volts. References between
// parts are indices, resolved by the reader of the bench file (cli/files/bench/bench_file).
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "capture/simulated/settings.h"

namespace assay::capture {

/// One cause of doubt about a scale or a resistance, as a relative standard uncertainty (k = 1).
/// Two values that name the same source share its error.
struct RelativeDoubt {
    std::string source_id;  // "input:probe-a:scale", "meter:bench-meter", "load:load-a:resistance"
    double relative = 0.0;
};

struct Output {
    std::string name;
    int channel = 1;                              // counted from 1
    std::optional<double> volts_at_full_scale{};  // instantaneous volts for sample value 1.0
    std::optional<double> maximum_volts{};        // peak volts never exceeded
    std::optional<double> maximum_dbfs{};         // the same as a level
    bool inverted = false;

    /// Highest level that the bench allows on this output, dB re full scale.
    double limit_dbfs() const;
};

enum class InputRole { voltage, reference, clip_detector };

struct Input {
    std::string name;
    int channel = 1;
    double volts_at_full_scale = 1.0;
    double attenuation = 1.0;
    std::vector<RelativeDoubt> scale_doubts{};  // empty: taken as exact, and a warning says so
    std::optional<double> calibrated_at_hz{};
    std::optional<double> clean_up_to_dbfs{};  // known free of its own distortion up to here
    std::optional<double> own_thd_percent{};   // the chain's own residual, from a loopback
    std::optional<double> high_pass_hz{};      // corner of the input's AC coupling (first order)
    bool inverted = false;
    InputRole role = InputRole::voltage;
    std::optional<double> threshold_dbfs{};  // clip detector only
    std::string response_file{};  // of the card from its player to this input, by a loopback; empty: none
    std::vector<std::size_t> driven_by{};  // outputs that reach this point of a line unit; empty: not stated

    /// Volts at the probe tip for sample value 1.0, with the sign of `inverted`.
    double volts_per_unit() const { return (inverted ? -1.0 : 1.0) * volts_at_full_scale * attenuation; }
};

struct Meter {
    std::string name;
    double accuracy_percent = 0.0;  // of reading, limits
    double digits = 0.0;            // of the last place, limits
    double resolution_v = 0.0;
    std::optional<double> ac_max_hz{};
    bool true_rms = false;

    /// Relative standard uncertainty of one reading: the leaflet's limits taken as rectangular.
    double relative_standard_uncertainty(double reading_v) const;
};

struct Load {
    std::string name;
    double resistance_ohm = 0.0;  // infinity: no load
    std::vector<RelativeDoubt> resistance_doubts{};
    std::optional<double> rated_power_w{};
    std::optional<double> rated_power_no_heatsink_w{};
    std::optional<double> tempco_ppm_per_k{};
    std::optional<double> inductance_uh{};
    std::vector<std::size_t> driven_by{};  // outputs that reach this load
    std::size_t plus = 0;                  // input at one end
    std::optional<std::size_t> minus{};    // input at the other end, unless that is the recorder's ground
    /// No load at all: the input `plus`, at the output of a line unit, under its own name. There are volts
    /// here and no watts.
    bool bare_input = false;

    bool bridged() const { return minus.has_value(); }
    /// `load "load-a"`, or `input "probe-a"`: for messages.
    std::string in_words() const;
};

struct ImpedanceJig {
    enum class Topology { series_high, sense_low };
    Topology topology = Topology::series_high;
    double series_ohm = 0.0;
    std::vector<RelativeDoubt> series_doubts{};
    std::size_t generator_side = 0;
    std::size_t driver_side = 0;
    double lead_ohm = 0.0;
    std::optional<double> input_resistance_ohm{};
    std::string match_file{};
};

enum class Source { device, simulated };
enum class Ground { supply_negative, load_minus, isolated };

struct Bench {
    Source source = Source::device;
    std::string playback_device{};
    std::string record_device{};
    double sample_rate_hz = 96000.0;
    bool shared_clock = true;
    Ground ground = Ground::load_minus;
    std::vector<Output> outputs{};
    std::vector<Input> inputs{};
    std::vector<Meter> meters{};
    std::vector<Load> loads{};
    std::optional<ImpedanceJig> jig{};
    SimulatedBench simulated{};  // used when source is simulated
};

}  // namespace assay::capture
