#include "cli/files/bench/bench_file.h"

#include <gtest/gtest.h>

#include <cmath>

#include "slips.h"
#include "whole_bench.h"

namespace assay::cli {
namespace {

using capture::Bench;
using capture::Ground;
using helpers::bench_name;
using helpers::changed;
using helpers::whole_bench;

Bench read(const std::string& text) {
    const auto bench = parse_bench(text, bench_name);
    if (!bench) {
        ADD_FAILURE() << bench.error().text << "; " << bench.error().mend;
        return {};
    }
    return *bench;
}

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
