#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "capture/device/sound_devices.h"
#include "cli/commands/commands.h"
#include "cli/commands/live/sound_choice.h"
#include "cli/commands/new_file.h"
#include "cli/commands/stock_parts.h"
#include "cli/commands/terminal/questions.h"
#include "cli/files/bench/bench_file.h"

namespace assay::cli {

namespace {

using capture::Fault;
using capture::Result;

struct Answers {
    std::string device{};
    double rate_hz = 96000.0;
    double channels = 2.0;
    double load_ohm = 4.0;
    double load_w = 100.0;
    double power_w = 50.0;
    bool bridged = false;
    double full_scale_v = 2.0;
    double input_ohm = 10000.0;
    double output_full_scale_v = 0.0;
    double meter_percent = 0.8;
    double meter_digits = 3.0;
    double meter_resolution_v = 0.01;
    double meter_max_hz = 400.0;
    bool meter_true_rms = true;
    bool jig = false;
    bool headphone = false;
    double card_inputs = 2.0;

    /// The jig wants two inputs without dividers. Where the probes leave none, the bench is the jig's alone.
    bool jig_alone() const { return jig && card_inputs < channels + 2.0; }
};

/// What the computer tells of its devices: the first one that plays and records is offered, and of the one
/// that is chosen its rates and inputs.
class Cards {
  public:
    Cards() {
        if (auto started = capture::SoundLibrary::start()) library_ = std::move(*started);
        if (library_) devices_ = capture::list_devices(*library_);
    }
    /// A text to be replaced where there is none.
    std::string likely() const {
        for (const capture::SoundDevice& device : devices_) {
            if (device.plays_and_records()) return device.name;
        }
        return "part of a device's name";
    }
    void choose(const std::string& words) {
        if (const auto found = choose_device(devices_, words, Direction::record, "device")) chosen_ = *found;
    }
    /// 96 kHz, or the highest below it that the card runs at.
    double rate_hz() const {
        constexpr double wanted_hz = 96000.0;
        double best_hz = 0.0;
        if (chosen_) {
            for (const double rate : capture::rates_of(*library_, *chosen_)) {
                if (rate <= wanted_hz) best_hz = std::max(best_hz, rate);
            }
        }
        return best_hz > 0.0 ? best_hz : wanted_hz;
    }
    /// Most cards of hobbyists have two.
    int inputs() const { return chosen_ ? chosen_->inputs : 2; }

  private:
    std::shared_ptr<capture::SoundLibrary> library_{};
    std::vector<capture::SoundDevice> devices_{};
    std::optional<capture::SoundDevice> chosen_{};
};

Result<Answers> ask(Questions& questions) {
    Answers answers;
    std::optional<Fault> fault;
    const auto number = [&](double& value, const char* key, const char* text, const std::string& otherwise,
                            double from, double to) {
        if (fault) return;
        const auto answer = questions.number({key, text, otherwise}, from, to);
        if (answer)
            value = *answer;
        else
            fault = answer.error();
    };
    const auto flag = [&](bool& value, const char* key, const char* text, const char* otherwise) {
        if (fault) return;
        const auto answer = questions.yes({key, text, otherwise});
        if (answer)
            value = *answer;
        else
            fault = answer.error();
    };
    Cards cards;
    const auto device = questions.text(
        {"device", "Sound device, or a part of its name (see `assay devices`)", cards.likely()});
    if (!device) return tl::unexpected<Fault>(device.error());
    answers.device = *device;
    cards.choose(*device);
    number(answers.rate_hz, "sample_rate_hz", "Sample rate, Hz", fmt::format("{:.0f}", cards.rate_hz()),
           44100, 192000);
    number(answers.channels, "channels", "Channels to measure at once (1 or 2)", "2", 1, 2);
    flag(answers.bridged, "bridged", "Will bridged outputs be measured?", "no");
    if (answers.bridged) answers.channels = 2.0;
    number(answers.power_w, "power_w",
           answers.bridged ? "Rated power of the strongest unit, bridged, W"
                           : "Rated power of the strongest unit, one channel, W",
           "50", 0.001, 20000);
    number(answers.load_ohm, "load_ohm", "Load resistor, as measured where the probes will touch, ohm", "4.0",
           0.1, 100000);
    number(answers.load_w, "load_power_w", "What the load resistor is rated for, W", "100", 0.1, 100000);
    number(answers.full_scale_v, "input_full_scale_v",
           "Peak volts at the card's input for full scale (a guess will do; calibrate later)", "2.0", 0.01,
           100);
    number(answers.input_ohm, "input_resistance_ohm", "Resistance of the card's input, ohm", "10000", 100,
           1e7);
    number(answers.output_full_scale_v, "output_full_scale_v",
           "Peak volts at the card's output for full scale (0: not known yet)", "0", 0, 100);
    number(answers.meter_percent, "meter_percent", "Multimeter, AC volts: accuracy, % of reading", "0.8",
           0.01, 10);
    number(answers.meter_digits, "meter_digits", "... plus digits of the last place", "3", 0, 100);
    number(answers.meter_resolution_v, "meter_resolution_v", "... one step of the last place, V", "0.01",
           1e-6, 10);
    number(answers.meter_max_hz, "meter_max_hz", "... accurate up to, Hz", "400", 45, 1e6);
    flag(answers.meter_true_rms, "meter_true_rms", "... true RMS, as its case or leaflet says?", "yes");
    flag(answers.jig, "jig", "Will loudspeaker drivers be measured (impedance jig)?", "no");
    if (answers.jig)
        flag(answers.headphone, "headphone",
             "Is the jig driven from a headphone output (no: a power amplifier)?", "no");
    if (answers.jig)
        number(answers.card_inputs, "card_inputs", "Inputs that the card has",
               fmt::format("{}", std::max(cards.inputs(), 2)), 2, 64);
    if (fault) return tl::unexpected<Fault>(*fault);
    return answers;
}

std::string probe_text(const Answers& answers, int channel, const DividerProposal& divider, double worst_v) {
    const char letter = static_cast<char>('a' + channel - 1);
    std::string text = fmt::format("[[input]]\nname = \"probe-{}\"\nchannel = {}\n", letter, channel);
    text += fmt::format(
        "volts_at_full_scale = {:.6g}        # a guess until `assay calibrate input` has found it\n",
        answers.full_scale_v);
    if (divider.needed) {
        text += fmt::format(
            "# Divider from stock parts: {:.6g} ohm from the tip, {:.6g} ohm across the card's input ({:.6g} "
            "ohm of its\n"
            "# own). The worst case, twice the rated power, is {:.4g} V peak at the tip and {:.1f} dBFS; the "
            "upper\n"
            "# resistor then takes {:.3f} W. A clamp (two diodes to ground behind it) protects the card.\n",
            divider.top_ohm, divider.bottom_ohm, answers.input_ohm, worst_v, divider.level_dbfs,
            divider.top_w);
        text += fmt::format("attenuation = {:.6g}\n", divider.attenuation);
    } else {
        text +=
            fmt::format("# No divider: the worst case of {:.4g} V peak is {:.1f} dBFS.\nattenuation = 1.0\n",
                        worst_v, divider.level_dbfs);
    }
    if (answers.channels > 1.0 && !answers.bridged)
        text += fmt::format(
            "driven_by = [\"drive-{}\"]        # which output reaches it, when a line unit is "
            "measured\n",
            letter);
    return text +
           "tolerance_percent = 10.0       # a guess's limits; calibration puts this in their place: meter = "
           "\"bench-meter\"\n\n";
}

std::string bench_of(const Answers& answers) {
    const bool alone = answers.jig_alone();
    const int channels = alone ? 1 : static_cast<int>(answers.channels);
    const double worst_v = worst_peak_v(answers.power_w, answers.load_ohm, answers.bridged);
    const DividerProposal divider = propose_divider(worst_v, answers.full_scale_v, answers.input_ohm);
    std::string text =
        "# A bench, as `assay new bench` wrote it. Lines that begin with '#' are notes. Volts at full scale "
        "are\n"
        "# instantaneous ones, for a sample value of 1.0.\n#\n"
        "# TAKE CARE. Load resistors pass 200 degrees C: heatsink, airflow, nothing that burns near. Fuse a "
        "battery at\n"
        "# its post before anything else. Both terminals of a bridged output are live: the recorder's ground "
        "goes to\n"
        "# neither of them.\n\n";
    text += fmt::format(
        "[sound]\nsource = \"device\"              # or \"simulated\"\nplayback_device = {0}\nrecord_device "
        "= {0}\n"
        "sample_rate_hz = {1:.0f}\nshared_clock = true            # one device plays and records\n",
        toml_text(answers.device), answers.rate_hz);
    if (answers.bridged && !alone)
        text += "ground = \"supply-negative\"     # of the recorder: a bridge needs it there\n";
    text += "\n";
    for (int channel = 1; channel <= channels; ++channel) {
        text += fmt::format("[[output]]\nname = \"drive-{}\"\nchannel = {}\n",
                            static_cast<char>('a' + channel - 1), channel);
        if (answers.output_full_scale_v > 0.0) {
            text += fmt::format("volts_at_full_scale = {:.6g}\n", answers.output_full_scale_v);
        } else {
            text +=
                "# `assay calibrate output` writes volts_at_full_scale here; without it no gain is told\n";
        }
        text +=
            "maximum_dbfs = -1.0            # no test plays louder; lower it to what the unit's input "
            "stands\n\n";
    }
    for (int channel = 1; channel <= channels && !answers.jig_alone(); ++channel)
        text += probe_text(answers, channel, divider, worst_v);
    text += fmt::format(
        "[[meter]]                      # the leaflet's row \"AC volts\"\nname = "
        "\"bench-meter\"\naccuracy_percent = {:.6g}\n"
        "digits = {:.6g}\nresolution_v = {:.6g}\nac_max_hz = {:.6g}\ntrue_rms = {}\n\n",
        answers.meter_percent, answers.meter_digits, answers.meter_resolution_v, answers.meter_max_hz,
        answers.meter_true_rms);
    const auto load = [&](const std::string& name, const std::string& ends, const std::string& driven) {
        text += fmt::format(
            "[[load]]\nname = \"{}\"\nresistance_ohm = {:.6g}             # measured between the points that "
            "the "
            "probes touch\n"
            "uncertainty_percent = 1.5      # standard; `assay calibrate load` makes it small\nrated_power_w "
            "= {:.6g}\n"
            "driven_by = [{}]\n{}\n\n",
            name, answers.load_ohm, answers.load_w, driven, ends);
    };
    if (alone) {
        text +=
            "# The card's inputs are all the jig's, so this bench is for drivers. For amplifiers write "
            "another "
            "one with\n# `assay new bench`, and say no to the jig.\n";
    } else if (answers.bridged) {
        load("load-bridge",
             "plus = \"probe-a\"\nminus = \"probe-b\"              # the other end is no ground",
             "\"drive-a\"");
    } else {
        load("load-a", "plus = \"probe-a\"", "\"drive-a\"");
        if (channels > 1) load("load-b", "plus = \"probe-b\"", "\"drive-b\"");
    }
    if (!answers.jig) return text;
    // Common practice, no source: 10 to 33 ohm behind a power amplifier, 47 to 100 ohm behind a headphone
    // output.
    const int first = alone ? 1 : channels + 1;
    const double series = stock_at_least(answers.headphone ? 60.0 : 20.0, e12());
    text += fmt::format(
        "# The jig: generator, series resistor, driver, ground; one input on each side of the resistor, both "
        "straight\n"
        "# into the card. {:.3g} ohm suits {}; measure it to 0.1 % or better.\n"
        "[[input]]\nname = \"jig-1\"                 # generator's end of the resistor\nchannel = "
        "{}\nvolts_at_full_scale = {:.6g}\n"
        "tolerance_percent = 10.0\n\n"
        "[[input]]\nname = \"jig-2\"                 # between resistor and driver\nchannel = "
        "{}\nvolts_at_full_scale = {:.6g}\n"
        "tolerance_percent = 10.0\n\n"
        "[impedance_jig]\ntopology = \"series-high\"\nseries_ohm = {:.6g}\ntolerance_percent = 1.0        # "
        "`assay calibrate match` next\n"
        "generator_side = \"jig-1\"\ndriver_side = \"jig-2\"\ninput_resistance_ohm = {:.6g}\n",
        series, answers.headphone ? "a headphone output" : "a power amplifier", first, answers.full_scale_v,
        first + 1, answers.full_scale_v, series, answers.input_ohm);
    return text;
}

}  // namespace

int run_new_bench(const NewOptions& options, const Manner& manner) {
    auto questions = Questions::open(options.answers);
    if (!questions) return report(questions.error());
    const auto answers = ask(*questions);
    if (!answers) return report(answers.error());
    const std::string text = bench_of(*answers);
    if (answers->jig_alone())
        say(manner, fmt::format("The card's {:.0f} inputs are all the jig's: the bench is for drivers. For "
                                "amplifiers write another one, and say no to the jig.",
                                answers->card_inputs));
    if (const auto read = parse_bench(text, options.file.empty() ? "bench.toml" : options.file.string());
        !read)
        return report(read.error());
    const auto written = write_new_file(options.file, text, manner);
    return written ? exit_done : report(written.error());
}

}  // namespace assay::cli
