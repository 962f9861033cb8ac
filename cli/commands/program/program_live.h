// The command line of the commands that need a sound card or ask questions.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>

#include "cli/commands/commands.h"

namespace assay::cli {

/// What was typed for them; must live as long as the application does.
struct LiveCommands {
    WatchOptions watch{};
    NewOptions create{};
    CalibrateOptions calibrate{};
};

/// A command below `parent`, with what every one has; the chosen one's action goes to `chosen`.
CLI::App* add_command(CLI::App& parent, Manner& manner, std::function<int()>& chosen, const char* name,
                      const char* what, std::function<int()> action);

/// `watch` and `new`.
void add_live_commands(CLI::App& app, LiveCommands& live, Manner& manner, std::function<int()>& chosen);
/// Options of `calibrate input` for when it plays itself.
void add_live_input(CLI::App* input, LiveCommands& live);
/// Below `calibrate`.
void add_live_calibrations(CLI::App& calibrate, LiveCommands& live, Manner& manner,
                           std::function<int()>& chosen);

}  // namespace assay::cli
