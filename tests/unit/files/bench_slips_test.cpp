// Slips in a bench file: each is told with its line and the mend.
#include <gtest/gtest.h>

#include "cli/files/bench/bench_file.h"
#include "slips.h"
#include "whole_bench.h"

namespace assay::cli {
namespace {

using helpers::bench_name;
using helpers::changed;
using helpers::expect_slips;
using helpers::Slip;
using helpers::whole_bench;

const auto parse_bench_text = [](const std::string& text) { return parse_bench(text, bench_name); };

TEST(BenchFile, SlipsInOneTable) {
    expect_slips(
        whole_bench, bench_name,
        {
            {"attenuation = 12", "atenuation = 12", "input \"probe-a\": unknown key \"atenuation\"",
             "did you mean \"attenuation\"?"},
            {"resistance_ohm = 4.03", "resistence_ohm = 4.03",
             "load \"load-a\": unknown key \"resistence_ohm\"", "did you mean \"resistance_ohm\"?"},
            {"resistance_ohm = 4.03\n", "", "load \"load-a\": resistance_ohm is missing",
             "measure it at the points that the probes touch; inf for no load", "[[load]]"},
            {"resistance_ohm = 4.03", "resistance_ohm = -4",
             "load \"load-a\": resistance_ohm = -4 is out of range",
             "give a number above 0 and up to 1000000000 ohm, or inf"},
            {"resistance_ohm = 4.03", "resistance_ohm = 0",
             "load \"load-a\": resistance_ohm = 0 is out of range",
             "give a number above 0 and up to 1000000000 ohm, or inf"},
            {"resistance_ohm = 4.03", "resistance_ohm = -inf",
             "load \"load-a\": resistance_ohm = -inf is out of range",
             "give a number above 0 and up to 1000000000 ohm, or inf"},
            {"resistance_ohm = 4.03", "resistance_ohm = nan",
             "load \"load-a\": resistance_ohm = nan is out of range",
             "give a number above 0 and up to 1000000000 ohm, or inf"},
            {"resistance_ohm = 4.03", "resistance_ohm = \"4\"", "load \"load-a\": resistance_ohm is a text",
             "give a number above 0 and up to 1000000000 ohm, or inf, without quotes"},
            {"sample_rate_hz = 96000", "sample_rate_hz = 0", "[sound]: sample_rate_hz = 0 is out of range",
             "give a whole number from 8000 to 768000 Hz"},
            {"sample_rate_hz = 96000", "sample_rate_hz = 44100.5",
             "[sound]: sample_rate_hz = 44100.5 is out of range",
             "give a whole number from 8000 to 768000 Hz"},
            {"sample_rate_hz = 96000", "sample_rate_khz = 96", "[sound]: unknown key \"sample_rate_khz\"",
             "did you mean \"sample_rate_hz\"?"},
            {"volts_at_full_scale = 1.95", "volts_at_full_scale = inf",
             "input \"probe-a\": volts_at_full_scale = inf is out of range",
             "give a number above 0 and up to 100000 V"},
            {"shared_clock = false", "shared_clock = \"no\"", "[sound]: shared_clock is a text",
             "give true or false, without quotes"},
            {"source = \"device\"", "source = \"simulatd\"", "[sound]: unknown source \"simulatd\"",
             "did you mean \"simulated\"?"},
            {"channel = 2\nvolts_at_full_scale = 2.10", "channel = 0\nvolts_at_full_scale = 2.10",
             "output \"drive\": channel = 0 is out of range", "give a whole number from 1 to 256"},
            {"volts_at_full_scale = 2.10\n", "",
             "output \"drive\": maximum_volts means nothing without volts_at_full_scale",
             "give volts_at_full_scale too, or maximum_dbfs instead", "maximum_volts"},
            {"tolerance_percent = 3\n", "tolerance_percent = 3\nuncertainty_percent = 1\n",
             "input \"probe-b\": tolerance_percent stands beside uncertainty_percent", "give one of the two",
             "tolerance_percent = 3"},
            {"meter = \"bench-meter\"", "tolerance_percent = 1\nmeter = \"bench-meter\"",
             "input \"jig-in\": meter stands beside tolerance_percent", "give one of the two",
             "meter = \"bench-meter\""},
            {"role = \"voltage\"", "role = \"voltge\"", "input \"probe-a\": unknown role \"voltge\"",
             "did you mean \"voltage\"?"},
            {"role = \"voltage\"", "threshold_dbfs = -6",
             "input \"probe-a\": threshold_dbfs is only for a clip detector",
             "take it out, or set role = \"clip-detector\"",
             "threshold_dbfs = -6\n\n[[input]]\nname = \"probe-b\""},
            {"name = \"probe-b\"\nchannel", "name = \"\"\nchannel", "input 2: name is empty",
             "give a text of at least one character"},
            {"name = \"lamp\"", "name = \"la\\nmp\"",
             "input \"la?mp\": name holds a line break or another control character",
             "give a text of one line"},
            {"resolution_v = 0.01\n", "", "meter \"bench-meter\": resolution_v is missing",
             "digits count in steps of the last place: say how large one is", "[[meter]]"},
            {"series_ohm = 22.05", "series_ohm = inf", "[impedance_jig]: series_ohm = inf is out of range",
             "give a number above 0 and up to 1000000000 ohm"},
            {"gain_db = 20", "gain = 20", "[simulated.amplifier]: unknown key \"gain\"",
             "did you mean \"gain_db\"?"},
            {"rail_scale = [1.0, 0.8]", "rail_scale = [1.0]",
             "[simulated.amplifier]: rail_scale is no pair of numbers within range",
             "give two in square brackets, each a number from 0.1 to 1.5"},
            {"[simulated.card]", "[simulated.crad]", "[simulated]: unknown key \"crad\"",
             "did you mean \"card\"?"},
            {"seed = 7", "seed = 1.5", "[simulated]: seed = 1.5 is out of range",
             "give a whole number from 0 to 9007199254740992"},
        },
        parse_bench_text);
}

TEST(BenchFile, SlipsInTheTables) {
    expect_slips(whole_bench, bench_name,
                 {
                     {"[sound]", "[sonud]", "unknown table \"sonud\"", "did you mean \"sound\"?"},
                     {"[[output]]", "[[outputs]]", "unknown table \"outputs\"", "did you mean \"output\"?"},
                     {"[[output]]", "[output]", "[output] is a table, not a list of tables",
                      "write [[output]] above the keys of each one"},
                     {"[impedance_jig]", "[[impedance_jig]]", "[impedance_jig] is a list",
                      "write [impedance_jig] once, with its keys below it"},
                     {"[sound]", "volume = 3\n[sound]", "unknown key \"volume\"",
                      "known: \"sound\", \"output\", \"input\", \"meter\", \"load\", \"impedance_jig\", "
                      "\"simulated\""},
                 },
                 parse_bench_text);
    EXPECT_EQ(parse_bench_text("").error().text, "bench.toml:1: [sound] is missing");
    EXPECT_EQ(parse_bench_text("[sound]\nsample_rate_hz = 48000\n").error().text,
              "bench.toml:1: the bench has no [[input]]");
}

TEST(BenchFile, SlipsBetweenTables) {
    expect_slips(
        whole_bench, bench_name,
        {
            {"name = \"lamp\"", "name = \"probe-a\"",
             "input \"probe-a\": another input has this name (line 17)", "give each its own name",
             "name = \"probe-a\"\nchannel = 4"},
            {"channel = 4", "channel = 1", "input \"lamp\": channel 1 is already that of input \"probe-a\"",
             "give each input its own channel", "channel = 1\nvolts_at_full_scale = 1\n"},
            {"[[input]]\nname = \"probe-a\"",
             "[[output]]\nname = \"two\"\nchannel = 2\n[[input]]\nname = \"probe-a\"",
             "output \"two\": channel 2 is already that of output \"drive\"",
             "give each output its own channel", "channel = 2\n[[input]]"},
            {"[[input]]\nname = \"probe-a\"",
             "[[output]]\nname = \"two\"\nchannel = 3\n[[input]]\nname = \"probe-a\"",
             "load \"load-a\": driven_by is missing, and the bench has several outputs",
             "say which reach this load, e.g. driven_by = [\"drive\"]", "[[load]]"},
            {"driven_by = [\"drive\"]", "driven_by = [\"dirve\"]",
             "load \"bridge\": driven_by names no output: \"dirve\"", "did you mean \"drive\"?"},
            {"driven_by = [\"drive\"]", "driven_by = [\"drive\", \"drive\"]",
             "load \"bridge\": driven_by holds \"drive\" twice", "give each name once"},
            {"driven_by = [\"drive\"]", "driven_by = \"drive\"", "load \"bridge\": driven_by is a text",
             "give a list of names such as [\"name\"]"},
            {"inductance_uh = 0\nplus = \"probe-a\"", "inductance_uh = 0\nplus = \"probe-c\"",
             "load \"load-a\": plus names no input: \"probe-c\"", "did you mean \"probe-a\"?",
             "plus = \"probe-c\""},
            {"inductance_uh = 0\nplus = \"probe-a\"", "inductance_uh = 0\nplus = \"lamp\"",
             "load \"load-a\": plus is input \"lamp\", whose role is clip-detector",
             "name an input of role \"voltage\"", "plus = \"lamp\""},
            {"minus = \"probe-b\"", "minus = \"probe-a\"",
             "load \"bridge\": plus and minus are the same input", "name the input at the other end"},
            {"ground = \"supply-negative\"", "ground = \"load-minus\"",
             "load \"bridge\": with ground = \"load-minus\" this end is tied to the recorder's ground, and "
             "would short "
             "the amplifier that drives it",
             "wire the recorder's ground to the supply's negative and set ground = \"supply-negative\", or "
             "take minus "
             "out",
             "minus ="},
            {"meter = \"bench-meter\"", "meter = \"benchmeter\"",
             "input \"jig-in\": meter names no meter: \"benchmeter\"", "did you mean \"bench-meter\"?"},
            {"calibrated_at_volts = 0.5", "calibrated_at_volts = 0.02",
             "input \"jig-in\": meter \"bench-meter\" cannot tell this scale: its last digits mean 0.03 V, "
             "its reading was 0.02 V",
             "calibrate at a higher voltage, or with a finer meter", "meter = \"bench-meter\""},
            {"driver_side = \"probe-b\"", "driver_side = \"jig-in\"",
             "[impedance_jig]: generator_side and driver_side are the same input",
             "name the input between resistor and driver"},
        },
        parse_bench_text);
}

TEST(BenchFile, TextsMayBeLongButNotEndless) {
    const auto with_device = [](const std::string& device) {
        return parse_bench_text(
            changed(whole_bench, "record_device = \"card\"", "record_device = \"" + device + "\""));
    };
    std::string omegas;
    for (int i = 0; i < 10'000; ++i) omegas += "Ω";
    EXPECT_EQ(with_device(omegas).value().record_device, omegas);
    EXPECT_EQ(with_device(omegas + "Ω").error().text,
              "bench.toml:4: [sound]: record_device has 10001 characters");
}

// A file of the largest size must be answered at once, whatever it holds.
TEST(BenchFile, EndlessListsAreRefused) {
    std::string tables = "[sound]\nsample_rate_hz = 48000\n";
    for (int i = 0; i < 20'000; ++i) tables += "[[load]]\nname = \"l" + std::to_string(i) + "\"\n";
    EXPECT_EQ(parse_bench_text(tables).error().text, "bench.toml:2003: more than 1000 [[load]]");
    std::string keys = "[sound]\nsample_rate_hz = 48000\n";
    for (int i = 0; i < 80'000; ++i) keys += "k" + std::to_string(i) + " = 1\n";
    EXPECT_EQ(parse_bench_text(keys).error().text, "bench.toml:3: [sound]: unknown key \"k0\"");
    std::string names;
    for (int i = 0; i < 100'000; ++i) names += "\"" + std::to_string(i) + "\",";
    EXPECT_EQ(parse_bench_text(changed(whole_bench, "driven_by = [\"drive\"]", "driven_by = [" + names + "]"))
                  .error()
                  .text,
              "bench.toml:71: load \"bridge\": driven_by is a list of 100000 names");
}

TEST(BenchFile, TheFirstOfSeveralMistakesIsTold) {
    std::string bad = changed(whole_bench, "attenuation = 12", "attenuation = -1");
    bad = changed(bad, "seed = 7", "sead = 7");
    EXPECT_EQ(parse_bench_text(bad).error().text,
              "bench.toml:20: input \"probe-a\": attenuation = -1 is out of range");
}

}  // namespace
}  // namespace assay::cli
