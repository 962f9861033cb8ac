// Meter readings, the terminals before connecting, tests at several supplies. What a typed text means, and
// what the bands let through, is by hand; the bands themselves are common practice, no source.
#include "cli/measures/readings.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "cli/commands/live/meter_desk.h"
#include "cli/commands/live/preflight.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/session/readings_file.h"

namespace assay::cli {
namespace {

TEST(Readings, AreTypedInManyWays) {
    for (const char* text : {"14.4", "14,4", " +14.4 V", "14,4V", "14.4 volts", "14400 mV", "14.4 V DC"}) {
        const auto value = read_meter_text(text, "V");
        ASSERT_TRUE(value) << text;
        EXPECT_NEAR(*value, 14.4, 1e-12) << text;
    }
    EXPECT_DOUBLE_EQ(*read_meter_text("-35", "mV"), -35.0);
    EXPECT_DOUBLE_EQ(*read_meter_text("\u22120,035 V", "mV"), -35.0);
    EXPECT_DOUBLE_EQ(*read_meter_text("850 mA", "A"), 0.85);
    EXPECT_NEAR(*read_meter_text("104\u00b0F", "degC"), 40.0, 1e-12);  // by the scales' definition
    EXPECT_DOUBLE_EQ(*read_meter_text("41 \u00b0C", "degC"), 41.0);
    for (const char* text : {"", "-", "14.4.1", "14,400.5", "about 14", "14 A", "inf", "nan", "1e99999"})
        EXPECT_FALSE(read_meter_text(text, "V")) << text;
}

cli::Test asking(std::vector<std::string> names) {
    cli::Test test;
    test.id = "power";
    test.measure = "clipping-power";
    test.fields["ask"] = std::move(names);
    return test;
}

TEST(Readings, EachHasItsMoment) {
    const cli::Test test = asking({"case_temperature_c", "supply_loaded_v", "supply_idle_v"});
    EXPECT_EQ(asked_of(test, ReadingMoment::before).size(), 1U);
    EXPECT_STREQ(asked_of(test, ReadingMoment::loaded).at(0).field, "supply_loaded_v");
    EXPECT_STREQ(asked_of(test, ReadingMoment::after).at(0).field, "case_temperature_c");
    cli::Test set;
    set.fields["supply_set_v"] = 13.2;
    EXPECT_STREQ(asked_of(set, ReadingMoment::before).at(0).field, "supply_idle_v");
}

TEST(Readings, WhatCanHardlyBeIsTold) {
    cli::Test test = asking({"supply_idle_v", "supply_loaded_v"});
    test.fields["supply_idle_v"] = 14.4;
    EXPECT_EQ(oddity_of(test, "supply_loaded_v", 13.9), "");
    EXPECT_NE(oddity_of(test, "supply_loaded_v", 14.9), "");
    EXPECT_NE(oddity_of(test, "supply_loaded_v", 8.0), "");
    EXPECT_NE(oddity_of(test, "dc_offset_mv", -150.0), "");
    test.fields["supply_set_v"] = 13.2;
    EXPECT_NE(oddity_of(test, "supply_idle_v", 14.4), "");
    EXPECT_EQ(oddity_of(test, "supply_idle_v", 13.3), "");
    TestResult result;
    note_readings(test, result);
    ASSERT_EQ(result.whole.warnings.size(), 2U);
    EXPECT_EQ(result.whole.warnings[0].code, "odd-reading");
    EXPECT_EQ(result.whole.warnings[1].code, "reading-not-given");
}

TEST(Readings, TheLoadedToneIsWhereTheFirstLoadReachesTheLimit) {
    const cli::Test test = asking({"supply_loaded_v"});
    cli::Setup setup;
    setup.test = &test;
    TestResult result;
    const auto load = [&](const char* name, double gain) {
        Numbers numbers;
        numbers.curves.emplace_back(
            "level", analysis::Curve{{{"drive_dbfs", {-20.0, -19.0, -18.0}},
                                      {"voltage_v", {10.0 * gain, 11.0 * gain, 12.0 * gain}}}});
        for (const char* quantity : {"voltage_at_0_1_percent_v", "voltage_at_10_percent_v"})
            numbers.add(quantity, analysis::Quantity{.value = 11.5, .unit = "V"});
        result.loads.emplace_back(name, numbers);
    };
    load("a", 1.0);
    load("b", 1.1);
    const std::vector<Take> takes(1);
    const auto tone = tone_for_loaded(setup, takes, result);
    ASSERT_TRUE(tone);
    // Load b: 11.5 V lie between 11.0 and 12.1, straight.
    EXPECT_NEAR(tone->level_dbfs, -20.0 + 0.5 / 1.1, 1e-9);
    EXPECT_DOUBLE_EQ(tone->frequency_hz, 997.0);
    result.loads.clear();
    EXPECT_FALSE(tone_for_loaded(setup, takes, result));
}

TEST(Terminals, AreJudgedBeforeAnythingIsConnected) {
    capture::Load bridged;
    bridged.name = "bridge";
    bridged.minus = 1;
    capture::Load single;
    single.name = "single";
    const auto text = [](const capture::Load& load, const TerminalVolts& volts,
                         std::optional<double> supply = std::nullopt) {
        const auto judged = judge_terminals(load, volts, supply);
        if (!judged) return "refused: " + judged.error().text;
        std::string all;
        for (const std::string& line : *judged) all += line;
        return all;
    };
    EXPECT_NE(text(bridged, {0.01, 0.02, -0.01}).find("idle at ground"), std::string::npos);
    EXPECT_NE(text(bridged, {7.1, 7.15, -0.05}, 14.4).find("both are live"), std::string::npos);
    EXPECT_NE(text(bridged, {7.1, 7.15, -0.05}).find("both are live"), std::string::npos);
    EXPECT_NE(text(bridged, {7.2, 7.05, 0.15}, 14.4).find("150 mV"), std::string::npos);
    EXPECT_NE(text(bridged, {14.0, 14.1, -0.1}, 14.4).find("neither ground nor half"), std::string::npos);
    EXPECT_NE(text(bridged, {12.0, 0.1, 11.9}, 14.4).find("stuck or broken"), std::string::npos);
    EXPECT_NE(text(bridged, {7.1, 0.0, 0.02}).find("do not fit"), std::string::npos);
    EXPECT_NE(text(single, {7.1, 7.1, 0.0}).find("is not ground"), std::string::npos);
    EXPECT_EQ(text(single, {0.02, 0.0, 0.02}).find("refused"), std::string::npos);
    Unit unit;
    EXPECT_FALSE(needs_preflight(single, unit));
    EXPECT_TRUE(needs_preflight(bridged, unit));
    unit.minimum_bridged_load_ohm = 4.0;
    EXPECT_TRUE(needs_preflight(single, unit));
}

constexpr const char* bench_text =
    "[sound]\nsample_rate_hz = 96000\n[[output]]\nname = \"drive\"\nchannel = 1\n"
    "[[input]]\nname = \"probe\"\nchannel = 1\nvolts_at_full_scale = 20\n"
    "[[load]]\nname = \"load\"\nresistance_ohm = 4\nplus = \"probe\"\n";

capture::Result<Job> job_of(const std::string& test, const std::string& claim = {}) {
    const auto bench = parse_bench(bench_text, "bench.toml");
    return parse_job(
        "[[test]]\nid = \"power\"\nmeasure = \"clipping-power\"\nloads = [\"load\"]\n" + test + claim,
        "job.toml", *bench, 96000.0);
}

TEST(Supplies, OneTestEach) {
    const auto job = job_of(
        "supply_voltages_v = [14.4, 12]\n",
        "[[claim]]\ntext = \"20 W\"\ntest = \"power\"\nquantity = \"power_at_1_percent_w\"\nat_least = 20\n"
        "at_supply_volts = 14\n");
    ASSERT_TRUE(job) << job.error().text;
    ASSERT_EQ(job->tests.size(), 2U);
    EXPECT_EQ(job->tests[0].id, "power-14_4v");
    EXPECT_EQ(job->tests[1].id, "power-12v");
    EXPECT_DOUBLE_EQ(*job->tests[1].number("supply_set_v"), 12.0);
    EXPECT_EQ(job->claims.at(0).test, "power-14_4v");
}

TEST(Supplies, SlipsAreTold) {
    const auto told = [](const std::string& test) {
        const auto job = job_of(test);
        return job ? std::string("accepted") : job.error().text + "; " + job.error().mend;
    };
    EXPECT_NE(told("ask = \"suply_idle_v\"\n").find("supply_idle_v"), std::string::npos);
    EXPECT_NE(told("ask = \"supply_idle_v\"\nsupply_idle_v = 14\n").find("stated and asked"),
              std::string::npos);
    EXPECT_NE(told("supply_voltages_v = [14, 14]\n"), "accepted");
    EXPECT_NE(told("supply_voltages_v = [14]\nsupply_idle_v = 14\n").find("when the supply is set"),
              std::string::npos);
    EXPECT_EQ(told("ask = [\"supply_idle_v\", \"supply_loaded_v\"]\n"), "accepted");
}

TEST(ReadingsFile, GivesBackWhatWasTypedAndNothingElse) {
    const std::filesystem::path folder =
        std::filesystem::path(::testing::TempDir()) / "assay-readings-file-test";
    std::filesystem::create_directories(folder);
    std::filesystem::remove(folder / "readings.toml");
    auto job = job_of("ask = [\"supply_idle_v\", \"dc_offset_mv\"]\nsupply_loaded_v = 13.9\n");
    ASSERT_TRUE(job);
    ASSERT_TRUE(keep_readings(folder, *job));
    EXPECT_FALSE(std::filesystem::exists(folder / "readings.toml"));
    job->tests[0].fields["supply_idle_v"] = 14.4;
    job->tests[0].fields["dc_offset_mv"] = 0.035 * 1000.0;
    ASSERT_TRUE(keep_readings(folder, *job));
    auto again = job_of("ask = [\"supply_idle_v\", \"dc_offset_mv\"]\nsupply_loaded_v = 13.9\n");
    ASSERT_TRUE(apply_readings(folder, *again));
    EXPECT_EQ(again->tests[0].fields, job->tests[0].fields);
    for (const char* damage :
         {"[other]\nsupply_idle_v = 14\n", "[power]\nsupply_loaded_v = 14\n",
          "[power]\nsupply_idle_v = 1e9\n", "[power]\nsupply_idle_v = \"14\"\n", "[power"}) {
        std::ofstream(folder / "readings.toml") << damage;
        EXPECT_FALSE(apply_readings(folder, *again)) << damage;
    }
    std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace assay::cli
