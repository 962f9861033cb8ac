// The tables of a bench file, each by itself: keys, types and ranges. References to other tables are still
// names.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "cli/files/toml/toml_table.h"

namespace assay::cli {

struct RawOutput {
    TomlTable table;
    capture::Output output{};
};

struct RawInput {
    TomlTable table;
    capture::Input input{};
    std::optional<std::string> meter{};
    std::optional<double> calibrated_at_volts{};
    std::optional<std::vector<std::string>> driven_by{};
};

struct RawMeter {
    TomlTable table;
    capture::Meter meter{};
};

struct RawLoad {
    TomlTable table;
    capture::Load load{};
    std::optional<std::vector<std::string>> driven_by{};
    std::string plus{};
    std::optional<std::string> minus{};
};

struct RawJig {
    TomlTable table;
    capture::ImpedanceJig jig{};
    std::string generator_side{};
    std::string driver_side{};
};

/// Reads [sound] into `bench`; true if `ground` was stated.
bool read_sound(const TomlNode& node, capture::Bench& bench, Complaints& complaints);
RawOutput read_output(const TomlNode& node, std::size_t index, Complaints& complaints);
RawInput read_input(const TomlNode& node, std::size_t index, Complaints& complaints);
RawMeter read_meter(const TomlNode& node, std::size_t index, Complaints& complaints);
RawLoad read_load(const TomlNode& node, std::size_t index, Complaints& complaints);
RawJig read_jig(const TomlNode& node, Complaints& complaints);

}  // namespace assay::cli
