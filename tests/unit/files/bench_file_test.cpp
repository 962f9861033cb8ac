#include "cli/files/bench/bench_file.h"

#include <gtest/gtest.h>

#include <cmath>

#include "slips.h"

namespace assay::cli {
namespace {

using capture::Bench;
using capture::Ground;
using helpers::changed;
using helpers::expect_slips;
using helpers::Slip;

constexpr const char* bench_name = "bench.toml";

const std::string whole_bench = R"([sound]
source = "device"
playback_device = "Übungs-Karte"
record_device = "card"
sample_rate_hz = 96000
shared_clock = false
ground = "supply-negative"

[[output]]
name = "drive"
channel = 2
volts_at_full_scale = 2.10
maximum_volts = 1.50
inverted = true

[[input]]
name = "probe-a"
channel = 1
volts_at_full_scale = 1.95
attenuation = 12
uncertainty_percent = 1.0
calibrated_at_hz = 83
calibrated_on = 2026-03-01
clean_up_to_dbfs = -1.0
own_thd_percent = 0.002
high_pass_hz = 4
role = "voltage"

[[input]]
name = "probe-b"
channel = 2
volts_at_full_scale = 2
tolerance_percent = 3
inverted = true

[[input]]
name = "lamp"
channel = 4
volts_at_full_scale = 1
role = "clip-detector"
threshold_dbfs = -6

[[input]]
name = "jig-in"
channel = 3
volts_at_full_scale = 1.0
meter = "bench-meter"
calibrated_at_volts = 0.5

[[meter]]
name = "bench-meter"
accuracy_percent = 0.8
digits = 3
resolution_v = 0.01
ac_max_hz = 400
true_rms = true

[[load]]
name = "load-a"
resistance_ohm = 4.03
uncertainty_percent = 1.5
rated_power_w = 100
rated_power_no_heatsink_w = 20
tempco_ppm_per_k = -50
inductance_uh = 0
plus = "probe-a"

[[load]]
name = "bridge"
resistance_ohm = inf
driven_by = ["drive"]
plus = "probe-a"
minus = "probe-b"

[impedance_jig]
topology = "sense-low"
series_ohm = 22.05
tolerance_percent = 0.1
generator_side = "jig-in"
driver_side = "probe-b"
lead_ohm = 0.04
input_resistance_ohm = 1e6
match = "match.json"

[simulated]
seed = 7
load_k_per_w = 2

[simulated.amplifier]
gain_db = 20
rail_scale = [1.0, 0.8]
second_channel_inverted = true

[simulated.card]
bits = 16
)";

Bench read(const std::string& text) {
    const auto bench = parse_bench(text, bench_name);
    if (!bench) {
        ADD_FAILURE() << bench.error().text << "; " << bench.error().mend;
        return {};
    }
    return *bench;
}

const auto parse_bench_text = [](const std::string& text) { return parse_bench(text, bench_name); };

TEST(BenchFile, ReadsEveryKey) {
    const Bench bench = read(whole_bench);
    EXPECT_EQ(bench.source, capture::Source::device);
    EXPECT_EQ(bench.playback_device, "Übungs-Karte");
    EXPECT_EQ(bench.record_device, "card");
    EXPECT_EQ(bench.sample_rate_hz, 96000.0);
    EXPECT_FALSE(bench.shared_clock);
    EXPECT_EQ(bench.ground, Ground::supply_negative);

    ASSERT_EQ(bench.outputs.size(), 1U);
    EXPECT_EQ(bench.outputs[0].name, "drive");
    EXPECT_EQ(bench.outputs[0].channel, 2);
    EXPECT_EQ(bench.outputs[0].volts_at_full_scale, 2.10);
    EXPECT_EQ(bench.outputs[0].maximum_volts, 1.50);
    EXPECT_TRUE(bench.outputs[0].inverted);

    ASSERT_EQ(bench.inputs.size(), 4U);
    const capture::Input& a = bench.inputs[0];
    EXPECT_EQ(a.channel, 1);
    EXPECT_DOUBLE_EQ(a.volts_per_unit(), 1.95 * 12.0);
    EXPECT_EQ(a.calibrated_at_hz, 83.0);
    EXPECT_EQ(a.clean_up_to_dbfs, -1.0);
    EXPECT_EQ(a.own_thd_percent, 0.002);
    EXPECT_EQ(a.high_pass_hz, 4.0);
    EXPECT_EQ(a.role, capture::InputRole::voltage);
    EXPECT_DOUBLE_EQ(bench.inputs[1].volts_per_unit(), -2.0);
    EXPECT_EQ(bench.inputs[2].role, capture::InputRole::clip_detector);
    EXPECT_EQ(bench.inputs[2].threshold_dbfs, -6.0);

    ASSERT_EQ(bench.loads.size(), 2U);
    const capture::Load& load = bench.loads[0];
    EXPECT_EQ(load.resistance_ohm, 4.03);
    EXPECT_EQ(load.rated_power_w, 100.0);
    EXPECT_EQ(load.rated_power_no_heatsink_w, 20.0);
    EXPECT_EQ(load.tempco_ppm_per_k, -50.0);
    EXPECT_EQ(load.inductance_uh, 0.0);
    EXPECT_EQ(load.driven_by, std::vector<std::size_t>{0});  // left out: the only output
    EXPECT_EQ(load.plus, 0U);
    EXPECT_FALSE(load.bridged());
    EXPECT_TRUE(std::isinf(bench.loads[1].resistance_ohm));
    EXPECT_EQ(bench.loads[1].minus, 1U);

    ASSERT_TRUE(bench.jig.has_value());
    EXPECT_EQ(bench.jig->topology, capture::ImpedanceJig::Topology::sense_low);
    EXPECT_EQ(bench.jig->series_ohm, 22.05);
    EXPECT_EQ(bench.jig->generator_side, 3U);
    EXPECT_EQ(bench.jig->driver_side, 1U);
    EXPECT_EQ(bench.jig->lead_ohm, 0.04);
    EXPECT_EQ(bench.jig->input_resistance_ohm, 1e6);
    EXPECT_EQ(bench.jig->match_file, "match.json");

    EXPECT_EQ(bench.simulated.seed, 7U);
    EXPECT_EQ(bench.simulated.load_k_per_w, 2.0);
    EXPECT_EQ(bench.simulated.amplifier.gain_db, 20.0);
    EXPECT_EQ(bench.simulated.amplifier.rail_scale[1], 0.8);
    EXPECT_TRUE(bench.simulated.amplifier.second_channel_inverted);
    EXPECT_EQ(bench.simulated.card.bits, 16);
}

// JCGM 100:2008: 4.3.7, limits of a rectangular distribution are its half width, the standard uncertainty is
// that over the square root of three (1.7320508).
TEST(BenchFile, StatedDoubtsBecomeStandardUncertainties) {
    const Bench bench = read(whole_bench);
    const auto& stated = bench.inputs[0].scale_doubts;
    ASSERT_EQ(stated.size(), 1U);
    EXPECT_EQ(stated[0].source_id, "input:probe-a:scale");
    EXPECT_DOUBLE_EQ(stated[0].relative, 0.01);
    const auto& limits = bench.inputs[1].scale_doubts;
    ASSERT_EQ(limits.size(), 1U);
    EXPECT_EQ(limits[0].source_id, "input:probe-b:scale");
    EXPECT_NEAR(limits[0].relative, 0.0173205081, 1e-10);
    const auto& metered = bench.inputs[3].scale_doubts;
    ASSERT_EQ(metered.size(), 2U);
    EXPECT_EQ(metered[0].source_id, "meter:bench-meter");
    EXPECT_NEAR(metered[0].relative, 0.0046188022, 1e-10);  // 0.8 % / 1.7320508
    EXPECT_EQ(metered[1].source_id, "input:jig-in:meter-digits");
    EXPECT_NEAR(metered[1].relative, 0.0346410162, 1e-10);  // 0.03 V of 0.5 V / 1.7320508
    EXPECT_EQ(bench.loads[0].resistance_doubts[0].source_id, "load:load-a:resistance");
    EXPECT_DOUBLE_EQ(bench.loads[0].resistance_doubts[0].relative, 0.015);
    EXPECT_EQ(bench.jig->series_doubts[0].source_id, "jig:series");

    // Without a reading: 1 V peak at -12 dBFS is 0.25119 x 0.70711 = 0.17762 V RMS.
    const Bench usual = read(changed(whole_bench, "calibrated_at_volts = 0.5\n", ""));
    EXPECT_NEAR(usual.inputs[3].scale_doubts[1].relative, 0.03 / 0.17762 / 1.7320508, 1e-5);
}

TEST(BenchFile, DefaultsOfTheContract) {
    const Bench bench = read(R"([sound]
sample_rate_hz = 44100
[[input]]
name = "p"
channel = 1
volts_at_full_scale = 1
[[load]]
name = "l"
resistance_ohm = 8
plus = "p"
)");
    EXPECT_EQ(bench.source, capture::Source::device);
    EXPECT_TRUE(bench.shared_clock);
    EXPECT_EQ(bench.inputs[0].attenuation, 1.0);
    EXPECT_EQ(bench.inputs[0].role, capture::InputRole::voltage);
    EXPECT_TRUE(bench.inputs[0].scale_doubts.empty());
    EXPECT_EQ(bench.ground, Ground::load_minus);    // no load has minus
    EXPECT_TRUE(bench.loads[0].driven_by.empty());  // the bench has no output: recordings only
    EXPECT_FALSE(bench.jig.has_value());
    EXPECT_EQ(read(changed(whole_bench, "ground = \"supply-negative\"\n", "")).ground,
              Ground::supply_negative);
    EXPECT_EQ(read(changed(whole_bench, "\"supply-negative\"", "\"isolated\"")).ground, Ground::isolated);
}

// The lower of both maxima counts: 1.5 V of 2.1 V is -2.923 dB.
TEST(BenchFile, TheLowerMaximumCounts) {
    EXPECT_NEAR(read(whole_bench).outputs[0].limit_dbfs(), -2.9226, 1e-4);
    const auto with = [](const std::string& more) {
        return read(changed(whole_bench, "maximum_volts = 1.50\n", more)).outputs[0].limit_dbfs();
    };
    EXPECT_NEAR(with("maximum_volts = 1.50\nmaximum_dbfs = -1\n"), -2.9226, 1e-4);
    EXPECT_NEAR(with("maximum_volts = 1.50\nmaximum_dbfs = -10\n"), -10.0, 1e-12);
    EXPECT_NEAR(with("maximum_dbfs = -4\n"), -4.0, 1e-12);
    EXPECT_NEAR(with("maximum_volts = 50\n"), 0.0, 1e-12);
}

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

/// Without the one on a load whose inputs have unlike corners, which the whole bench has.
std::vector<std::string> remarks_of(const std::string& text) {
    std::vector<std::string> remarks = bench_remarks(read(text));
    EXPECT_EQ(std::erase_if(remarks,
                            [](const std::string& remark) {
                                return remark.find("do not state the same high_pass_hz") != std::string::npos;
                            }),
              1U);
    return remarks;
}

TEST(BenchFile, RemarksOnWhatIsTakenAsExact) {
    const auto clean =
        remarks_of(changed(whole_bench, "calibrated_at_volts = 0.5\n", "calibrated_at_hz = 400\n"));
    EXPECT_EQ(clean.size(), 0U);  // the load without a stated uncertainty is no load at all
    const auto high =
        remarks_of(changed(whole_bench, "calibrated_at_volts = 0.5\n", "calibrated_at_hz = 997\n"));
    ASSERT_EQ(high.size(), 1U);
    EXPECT_EQ(high[0],
              "input \"jig-in\": calibrated at 997 Hz, but meter \"bench-meter\" is good for 400 Hz at most; "
              "calibrate "
              "again at 50 to 100 Hz");
    std::string silent = changed(whole_bench, "uncertainty_percent = 1.0\n", "");
    silent = changed(silent, "uncertainty_percent = 1.5\n", "");
    silent = changed(silent, "tolerance_percent = 0.1\n", "");
    const auto remarks = remarks_of(silent);
    ASSERT_EQ(remarks.size(), 3U);
    EXPECT_TRUE(remarks[0].starts_with("input \"probe-a\": no uncertainty is stated"));
    EXPECT_TRUE(remarks[1].starts_with("load \"load-a\": no uncertainty is stated"));
    EXPECT_TRUE(remarks[2].starts_with("[impedance_jig]: no uncertainty is stated"));
}

}  // namespace
}  // namespace assay::cli
