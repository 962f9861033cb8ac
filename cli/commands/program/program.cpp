#include "cli/commands/program/program.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <clocale>
#include <functional>
#include <sstream>

#include "cli/commands/cautions.h"
#include "cli/commands/commands.h"
#include "cli/commands/program/completion.h"
#include "cli/commands/program/manual.h"
#include "cli/commands/program/measure_help.h"
#include "cli/commands/program/program_live.h"
#include "cli/files/plain_text.h"

namespace assay::cli {

namespace {

/// Options of one command, and what runs it.
struct Commands {
    Manner manner{};
    DemoOptions demo{};
    TonesOptions tones{};
    RunOptions run{};
    ShowOptions show{};
    CertifyOptions certify{};
    VerifyOptions verify{};
    CheckOptions check{};
    ExportOptions export_curve{};
    CompareOptions compare{};
    CalibrateInputOptions calibrate_input{};
    LiveCommands live{};
    std::function<int()> chosen{};
};

CLI::App* add_command(CLI::App& parent, Commands& commands, const char* name, const char* what,
                      std::function<int()> action) {
    return add_command(parent, commands.manner, commands.chosen, name, what, std::move(action));
}

void add_json(CLI::App* command, Commands& commands) {
    command->add_flag("--json", commands.manner.json, "print the results as JSON");
}

void add_demo(CLI::App& app, Commands& all) {
    CLI::App* command = add_command(app, all, "demo", "the whole job on the built-in simulated bench",
                                    [&all] { return run_demo(all.demo, all.manner); });
    command->add_option("--into", all.demo.into, "folder for the demo's files (default: assay-demo)")
        ->type_name("DIR");
    add_json(command, all);
}

void add_tones(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "tones", "writes the tones of a job as sound files, with PLAY.txt",
                    [&all] { return run_tones(all.tones, all.manner); });
    command->add_option("JOB", all.tones.job, "job file")->required();
    command->add_option("--bench", all.tones.bench, "bench file")->required()->type_name("BENCH");
    command->add_option("--into", all.tones.into, "folder for the sound files")->required()->type_name("DIR");
    command->add_option("--rate", all.tones.rate_hz, "sample rate, Hz (default: the bench's)")
        ->check(CLI::Range(44100.0, 192000.0));
    command->add_option("--bits", all.tones.bits, "16 or 24 (default 24)")->check(CLI::IsMember({16, 24}));
    command->add_flag("--dither", all.tones.dither, "TPDF dither, for 16 bits");
    command->footer(cautions_text());
}

void add_run(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "run", "measures a job, judges its claims, writes session and certificate",
                    [&all] { return run_session(all.run, all.manner); });
    command->add_option("JOB", all.run.job, "job file")->required();
    command->add_option("--bench", all.run.bench, "bench file")->required()->type_name("BENCH");
    command->add_option("--into", all.run.into, "folder for the session (needed, but for --show-wiring)")
        ->type_name("SESSION");
    command
        ->add_option("--recordings", all.run.recordings,
                     "folder with DIR/<test-id>.wav or .flac, recorded elsewhere")
        ->type_name("DIR");
    command->add_option("--pages", all.run.pages, "all (html, pdf and png), html or none")
        ->check(CLI::IsMember({"all", "html", "none"}));
    command->add_flag("--yes", all.run.yes, "do not ask before playing");
    command
        ->add_option(
            "--answers", all.run.answers,
            "answers to what would be asked: TOML, `proceed = \"yes\"`, `<test-id>-connected = \"yes\"`")
        ->type_name("FILE");
    command->add_flag("--resume", all.run.resume,
                      "go on with a session that was interrupted; tests that are done are kept");
    command->add_flag("--show-wiring", all.run.show_wiring,
                      "show how the bench is connected and what its inputs will see; nothing is played");
    add_json(command, all);
    command->footer(measures_help() + "\n" + cautions_text());
}

void add_devices(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "devices", "sound devices, and which of them play and record on one clock",
                    [&all] { return run_devices(all.manner); });
    add_json(command, all);
}

void add_show(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "show", "the results of a session, with what limits each number",
                    [&all] { return run_show(all.show, all.manner); });
    command->add_option("SESSION", all.show.session, "folder of the session")->required();
    add_json(command, all);
}

void add_certify(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "certify", "writes the certificate again from a finished session",
                    [&all] { return run_certify(all.certify, all.manner); });
    command->add_option("SESSION", all.certify.session, "folder of the session")->required();
    command->add_option("--format", all.certify.format, "html, pdf, png or csv (left out: html, pdf and png)")
        ->check(CLI::IsMember({"html", "pdf", "png", "csv"}));
    command->add_option("--paper", all.certify.paper, "a4 or letter")->check(CLI::IsMember({"a4", "letter"}));
    command->add_flag("--sign", all.certify.sign, "sign it; the key is made on first use");
    command->add_flag("--bundle", all.certify.bundle, "pack the session into one file to send");
}

void add_export(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "export", "a curve of a session, or the fitted driver as a circuit",
                    [&all] { return run_export(all.export_curve, all.manner); });
    ExportOptions& options = all.export_curve;
    command->add_option("SESSION", options.session, "folder of the session")->required();
    command->add_option("--test", options.choice.test, "id of the test (left out: the only one that fits)");
    command
        ->add_option("--load,--input", options.choice.load, "name of the load; of a line unit, of the input")
        ->type_name("NAME");
    command->add_option("--curve", options.choice.curve, "name of the curve, e.g. impedance")
        ->type_name("NAME");
    command
        ->add_option("--format", options.format,
                     "csv, text, touchstone (impedance), spice (fitted driver); default csv")
        ->check(CLI::IsMember({"csv", "text", "touchstone", "spice"}));
    command->add_option("--into", options.into, "file to write (left out: standard output)")
        ->type_name("FILE");
}

void add_compare(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "compare", "two sessions: left against right, or before against after",
                    [&all] { return run_compare(all.compare, all.manner); });
    command->add_option("LEFT", all.compare.left, "folder of a session")->required();
    command->add_option("RIGHT", all.compare.right, "folder of another")->required();
    command
        ->add_option("--within", all.compare.within_percent,
                     "judge whether every figure is matched within so many per cent")
        ->type_name("PERCENT")
        ->check(CLI::Range(0.001, 1000.0));
    command
        ->add_option("--plots", all.compare.plots,
                     "folder for drawings of both with their difference (SVG): impedance and gain")
        ->type_name("DIR");
    add_json(command, all);
}

void add_verify(CLI::App& app, Commands& all) {
    CLI::App* command = add_command(app, all, "verify",
                                    "signature, hashes, and every number computed again from the recordings",
                                    [&all] { return run_verify(all.verify, all.manner); });
    command->add_option("SESSION", all.verify.session, "folder of the session, or a bundle")->required();
    command->add_option("--key", all.verify.key, "fingerprint that the signer's key must have")
        ->type_name("FINGERPRINT");
    add_json(command, all);
}

void add_check(CLI::App& app, Commands& all) {
    CLI::App* command =
        add_command(app, all, "check", "repeats a session's key tests: the same unit, unchanged?",
                    [&all] { return run_check(all.check, all.manner); });
    command->add_option("SESSION", all.check.session, "folder of the session, or a bundle")->required();
    command
        ->add_option("--bench", all.check.bench,
                     "bench file, where the repeat is made on another bench than the session")
        ->type_name("BENCH");
    command
        ->add_option("--recordings", all.check.recordings,
                     "folder with DIR/<test-id>.wav or .flac of the repeat, made with the tones of the job")
        ->type_name("DIR");
    command->add_flag("--yes", all.check.yes, "do not ask before playing");
    command->add_option("--answers", all.check.answers, "answers to what a live run asks (TOML), as of `run`")
        ->type_name("FILE");
    add_json(command, all);
    command->footer(cautions_text());
}

void add_schema(CLI::App& app, Commands& all) {
    add_command(app, all, "schema", "prints the JSON Schema of session.json", [] { return run_schema(); });
}

void add_texts(CLI::App& app, Commands& all) {
    add_command(app, all, "manual", "prints the manual page, for man(1)", [&app] {
        print_result(manual_page(app, ASSAY_VERSION, cautions_text(UnitKind::amplifier, common_columns)));
        return exit_done;
    });
    add_command(app, all, "completion", "prints what bash completes after assay", [&app] {
        print_result(bash_completion(app));
        return exit_done;
    });
}

void add_calibrate(CLI::App& app, Commands& all) {
    CLI::App* calibrate = app.add_subcommand("calibrate", "sets scales of the bench file");
    calibrate->require_subcommand(1);
    CLI::App* input = add_command(
        *calibrate, all, "input",
        "volts at full scale of an input, from a meter reading, live or with a recording", [&all] {
            if (!all.calibrate_input.recording.empty())
                return run_calibrate_input(all.calibrate_input, all.manner);
            all.live.calibrate.bench = all.calibrate_input.bench;
            all.live.calibrate.name = all.calibrate_input.input;
            all.live.calibrate.meter = all.calibrate_input.meter;
            return run_calibrate_input_live(all.live.calibrate, all.manner);
        });
    input->add_option("--bench", all.calibrate_input.bench, "bench file; its scale is replaced in place")
        ->required()
        ->type_name("BENCH");
    CLI::Option* volts = input->add_option("--meter-volts", all.calibrate_input.meter_volts,
                                           "volts RMS at the probe tip while recording");
    volts->check(CLI::Range(1e-6, 1e4));
    input
        ->add_option("--recording", all.calibrate_input.recording,
                     "recording of a steady tone (left out: the program plays and asks)")
        ->type_name("FILE")
        ->needs(volts);
    add_live_input(input, all.live);
    input
        ->add_option("--input", all.calibrate_input.input,
                     "name of the input (left out: the bench's only one)")
        ->type_name("NAME");
    input->add_option("--meter", all.calibrate_input.meter, "name of the [[meter]] that was read")
        ->type_name("NAME");
    add_json(input, all);
    add_live_calibrations(*calibrate, all.live, all.manner, all.chosen);
}

/// What was wrong with the command line, and whose help tells more.
capture::Fault misread(const CLI::App& app, const CLI::ParseError& error, int argc, char** argv) {
    std::string command = "assay";
    for (auto parsed = app.get_subcommands(); !parsed.empty(); parsed = parsed.front()->get_subcommands())
        command += ' ' + parsed.front()->get_name();
    std::string text = error.what();
    const std::string first = argc > 1 ? argv[1] : "";
    if (command == "assay" && (first.empty() || first.front() != '-'))
        text = first.empty() ? "a command is needed" : "no command \"" + visible_text(first) + "\"";
    return {capture::FaultKind::bad_arguments, text, std::nullopt, "see " + command + " --help"};
}

}  // namespace

int run_program(int argc, char** argv) {
    std::setlocale(LC_ALL, "C");  // numbers are written with a point everywhere
    Commands all;
    CLI::App app{"assay: what an amplifier or loudspeaker driver really delivers, on a hobbyist's bench"};
    app.name("assay");
    app.set_version_flag("--version", "assay " ASSAY_VERSION);
    app.require_subcommand(1);
    app.footer(fmt::format("Exit status: {}\n{}", exit_status_words, cautions_text()));
    add_demo(app, all);
    add_tones(app, all);
    add_run(app, all);
    add_devices(app, all);
    add_show(app, all);
    add_certify(app, all);
    add_verify(app, all);
    add_check(app, all);
    add_schema(app, all);
    add_compare(app, all);
    add_export(app, all);
    add_calibrate(app, all);
    add_live_commands(app, all.live, all.manner, all.chosen);
    add_texts(app, all);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        if (error.get_exit_code() == 0) {  // --help, --version
            std::ostringstream text;
            const int status = app.exit(error, text, text);
            print_text(text.str());
            return status;
        }
        return report(misread(app, error, argc, argv));
    }
    install_stop_handler();
    try {
        return all.chosen();
    } catch (const std::bad_alloc&) {
        return report({capture::FaultKind::internal, "out of memory", std::nullopt, "close other programs"});
    } catch (const std::exception& error) {
        return report({capture::FaultKind::internal, std::string("internal error: ") + error.what(),
                       std::nullopt, "please report it with the job and bench file"});
    }
}

}  // namespace assay::cli
