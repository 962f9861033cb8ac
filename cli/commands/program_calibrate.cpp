#include "cli/commands/program_live.h"

namespace assay::cli {

namespace {

CLI::App* add_one(CLI::App& parent, Manner& manner, std::function<int()>& chosen, const char* name,
                  const char* what, std::function<int()> action) {
    CLI::App* command = parent.add_subcommand(name, what);
    command->add_flag("--quiet", manner.quiet, "no progress and no remarks");
    command->callback([&chosen, action = std::move(action)] { chosen = action; });
    return command;
}

void add_calibration(CLI::App* command, LiveCommands& live, Manner& manner, const char* name_help) {
    command->add_option("--bench", live.calibrate.bench, "bench file; it is changed in place, comments stay")
        ->required()
        ->type_name("BENCH");
    command->add_option("--name", live.calibrate.name, name_help)->type_name("NAME");
    command->add_option("--meter", live.calibrate.meter, "name of the [[meter]] that is read")
        ->type_name("NAME");
    command->add_option("--answers", live.calibrate.answers, "answers to what is asked (TOML)")
        ->type_name("FILE");
    command->add_flag("--yes", live.calibrate.yes, "do not ask before playing; readings are still asked for");
    command->add_flag("--json", manner.json, "print the results as JSON");
}

void add_tone(CLI::App* command, LiveCommands& live) {
    command
        ->add_option("--frequency", live.calibrate.frequency_hz,
                     "of the tone, Hz (default 83: meters are at their best there)")
        ->check(CLI::Range(20.0, 2000.0));
    command->add_option("--level", live.calibrate.level_dbfs, "of the tone, dBFS (default -20)")
        ->check(CLI::Range(-60.0, 0.0));
}

}  // namespace

void add_live_input(CLI::App* input, LiveCommands& live) {
    input
        ->add_option("--answers", live.calibrate.answers,
                     "answers to what is asked (TOML): meter_volts = ...")
        ->type_name("FILE");
    input->add_flag("--yes", live.calibrate.yes, "do not ask before playing; readings are still asked for");
    add_tone(input, live);
}

void add_live_calibrations(CLI::App& calibrate, LiveCommands& live, Manner& manner,
                           std::function<int()>& chosen) {
    CLI::App* output = add_one(calibrate, manner, chosen, "output",
                               "volts at full scale of an output, from a meter reading while it plays",
                               [&] { return run_calibrate_output(live.calibrate, manner); });
    add_calibration(output, live, manner, "name of the output (left out: the bench's only one)");
    add_tone(output, live);
    CLI::App* loopback =
        add_one(calibrate, manner, chosen, "loopback",
                "an output straight into an input: response, noise, distortion against level",
                [&] { return run_calibrate_loopback(live.calibrate, manner); });
    add_calibration(loopback, live, manner, "name of the input (left out: the bench's only one)");
    CLI::App* load = add_one(calibrate, manner, chosen, "load",
                             "a load's resistance against one precise resistor, four-wire through the jig",
                             [&] { return run_calibrate_load(live.calibrate, manner); });
    add_calibration(load, live, manner, "name of the load (left out: the bench's only one)");
    add_tone(load, live);
    CLI::App* series = add_one(calibrate, manner, chosen, "series",
                               "the jig's series resistor against a known one in the driver's place",
                               [&] { return run_calibrate_series(live.calibrate, manner); });
    add_calibration(series, live, manner, "not needed");
    add_tone(series, live);
    CLI::App* divider = add_one(calibrate, manner, chosen, "divider",
                                "an input's attenuation, against another input on the same point",
                                [&] { return run_calibrate_divider(live.calibrate, manner); });
    add_calibration(divider, live, manner, "name of the input behind the divider");
    add_tone(divider, live);
    CLI::App* match =
        add_one(calibrate, manner, chosen, "match", "complex ratio of the jig's two inputs, both on one node",
                [&] { return run_calibrate_match(live.calibrate, manner); });
    add_calibration(match, live, manner, "not needed");
}

}  // namespace assay::cli
