#include "cli/commands/program/program_live.h"

namespace assay::cli {

namespace {

void add_name(CLI::App* command, LiveCommands& live, const char* help) {
    command->add_option("--name", live.calibrate.name, help)->type_name("NAME");
}

void add_calibration(CLI::App* command, LiveCommands& live, Manner& manner) {
    command->add_option("--bench", live.calibrate.bench, "bench file; it is changed in place, comments stay")
        ->required()
        ->type_name("BENCH");
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
    CLI::App* output = add_command(calibrate, manner, chosen, "output",
                                   "volts at full scale of an output, from a meter reading while it plays",
                                   [&] { return run_calibrate_output(live.calibrate, manner); });
    add_calibration(output, live, manner);
    add_name(output, live, "name of the output (left out: the bench's only one)");
    output->add_option("--meter", live.calibrate.meter, "name of the [[meter]] that is read")
        ->type_name("NAME");
    add_tone(output, live);
    CLI::App* loopback =
        add_command(calibrate, manner, chosen, "loopback",
                    "an output straight into an input: response, noise, distortion against level",
                    [&] { return run_calibrate_loopback(live.calibrate, manner); });
    add_calibration(loopback, live, manner);
    add_name(loopback, live, "name of the input (left out: the bench's only one)");
    CLI::App* load =
        add_command(calibrate, manner, chosen, "load",
                    "a load's resistance against one precise resistor, four-wire through the jig",
                    [&] { return run_calibrate_load(live.calibrate, manner); });
    add_calibration(load, live, manner);
    add_name(load, live, "name of the load (left out: the bench's only one)");
    add_tone(load, live);
    CLI::App* series = add_command(calibrate, manner, chosen, "series",
                                   "the jig's series resistor against a known one in the driver's place",
                                   [&] { return run_calibrate_series(live.calibrate, manner); });
    add_calibration(series, live, manner);
    add_tone(series, live);
    CLI::App* divider = add_command(calibrate, manner, chosen, "divider",
                                    "an input's attenuation, against another input on the same point",
                                    [&] { return run_calibrate_divider(live.calibrate, manner); });
    add_calibration(divider, live, manner);
    add_name(divider, live, "name of the input behind the divider");
    add_tone(divider, live);
    CLI::App* match = add_command(calibrate, manner, chosen, "match",
                                  "complex ratio of the jig's two inputs, both on one node",
                                  [&] { return run_calibrate_match(live.calibrate, manner); });
    add_calibration(match, live, manner);
}

}  // namespace assay::cli
