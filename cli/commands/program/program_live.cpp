#include "cli/commands/program/program_live.h"

#include "cli/commands/cautions.h"

namespace assay::cli {

CLI::App* add_command(CLI::App& parent, Manner& manner, std::function<int()>& chosen, const char* name,
                      const char* what, std::function<int()> action) {
    CLI::App* command = parent.add_subcommand(name, what);
    command->add_flag("--quiet", manner.quiet, "no progress and no remarks");
    command->callback([&chosen, action = std::move(action)] { chosen = action; });
    return command;
}

void add_live_commands(CLI::App& app, LiveCommands& live, Manner& manner, std::function<int()>& chosen) {
    CLI::App* watch =
        add_command(app, manner, chosen, "watch", "live meter: volts, watts, distortion, clipping",
                    [&] { return run_watch(live.watch, manner); });
    watch->add_option("--bench", live.watch.bench, "bench file")->required()->type_name("BENCH");
    watch->add_option("--load", live.watch.load, "name of the load (default: all)")->type_name("NAME");
    watch->add_option("--play", live.watch.play_dbfs, "play the tone too, at this level, dBFS")
        ->check(CLI::Range(-90.0, 0.0));
    watch->add_option("--frequency", live.watch.frequency_hz, "of that tone, Hz (default 997)")
        ->check(CLI::Range(20.0, 20000.0));
    watch->add_option("--seconds", live.watch.seconds, "end after so long (default: at the key q, or Ctrl-C)")
        ->check(CLI::Range(0.1, 1e6));
    watch->add_flag("--yes", live.watch.yes, "do not ask before a tone above -20 dBFS");
    watch->add_flag("--json", manner.json, "one JSON object a line and reading");
    watch->footer(cautions_text());

    CLI::App* create =
        app.add_subcommand("new", "asks a few questions and writes a commented bench or job file");
    create->require_subcommand(1);
    const auto add_new = [&](const char* name, const char* what, std::function<int()> action) {
        CLI::App* command = add_command(*create, manner, chosen, name, what, std::move(action));
        command->add_option("FILE", live.create.file, "file to write (default: print it)");
        command->add_option("--answers", live.create.answers, "answers to what is asked (TOML)")
            ->type_name("FILE");
    };
    add_new("bench", "a bench file, with divider and series values from stock parts",
            [&] { return run_new_bench(live.create, manner); });
    add_new("job", "a job file", [&] { return run_new_job(live.create, manner); });
}

}  // namespace assay::cli
