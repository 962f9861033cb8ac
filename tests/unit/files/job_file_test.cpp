#include "cli/files/job/job_file.h"

#include <gtest/gtest.h>

#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_reader.h"
#include "slips.h"

namespace assay::cli {
namespace {

using helpers::changed;
using helpers::expect_slips;
using helpers::Slip;

constexpr const char* job_name = "job.toml";

const std::string bench_text = R"([sound]
sample_rate_hz = 96000
[[output]]
name = "drive"
channel = 1
[[input]]
name = "probe-a"
channel = 1
volts_at_full_scale = 2
[[input]]
name = "probe-b"
channel = 2
volts_at_full_scale = 2
[[input]]
name = "unit-input"
channel = 3
volts_at_full_scale = 2
role = "reference"
[[load]]
name = "load-a"
resistance_ohm = 4
plus = "probe-a"
[[load]]
name = "load-b"
resistance_ohm = 4
plus = "probe-b"
)";

const std::string whole_job = R"([unit]
kind = "amplifier"
maker = "Größe & Söhne"
model = "M 1"
serial = "7"
condition = """
as found,
dusty"""
minimum_load_ohm = 2
minimum_bridged_load_ohm = 4.0

[[test]]
id = "power"
measure = "gauge"
loads = ["load-b", "load-a"]
reference = "unit-input"
frequency_hz = 997
drive_volts = 1.5
limits_on = "total"
distortion_limits_percent = [0.1, 1, 10]
supply_idle_v = 14.4

[[test]]
id = "one_Load"
measure = "gauge"
loads = ["load-a"]

[[test]]
id = "sweep-3"
measure = "whole-only"
needed = "x"

[[claim]]
text = "22 W into 4 ohm"
test = "power"
load = "load-a"
quantity = "power_at_0_1_percent_w"
at_least = 22
at_supply_volts = 14.4
at_load_ohm = 4
channels_driven = 2

[[claim]]
text = "10 W"
test = "one_Load"
quantity = "power_at_10_percent_w"
nominal = 10.0
within_percent = 5

[[claim]]
text = "total"
test = "power"
quantity = "total_w"
at_most = 100
)";

Field field(std::string name, FieldType type, std::string unit, double minimum, double maximum) {
    Field made;
    made.name = std::move(name);
    made.type = type;
    made.unit = std::move(unit);
    made.minimum = minimum;
    made.maximum = maximum;
    return made;
}

std::vector<Measure> own_measures() {
    Field limits = field("distortion_limits_percent", FieldType::numbers, "%", 0.001, 50);
    limits.default_text = "[1, 10]";
    Field choice = field("limits_on", FieldType::choice, "", 0, 0);
    choice.choices = {"harmonics", "total"};
    Measure gauge;
    gauge.name = "gauge";
    gauge.fields = {limits, choice};
    gauge.quantities = {{"power_at_{limit}_percent_w", "W"}, {"gain_db", "dB"}, {"total_w", "W", false}};
    gauge.check = [](const Setup& setup) -> capture::Result<void> {
        if (setup.test->number("drive_volts").value_or(0.0) > 2.0) {
            return capture::fail(capture::FaultKind::untrusted_capture,
                                 "drive_volts: too much for output 'drive'", "go lower");
        }
        if (setup.test->loads.size() == 2 && setup.tone_rate_hz < 40000.0) {
            return capture::fail(capture::FaultKind::bad_input_file, "the rate is too low", "raise it");
        }
        return {};
    };
    Measure sweep;
    sweep.name = "whole-only";
    Field needed = field("needed", FieldType::text, "", 0, 0);
    needed.required = true;
    needed.help = "what is needed";
    sweep.fields = {needed};
    sweep.quantities = {{"depth_db", "dB", false}};
    return {gauge, sweep};
}

struct Tables {
    std::vector<Measure> measures = own_measures();
    std::vector<Field> common{field("frequency_hz", FieldType::number, "Hz", 1, 40000),
                              field("drive_volts", FieldType::number, "V", 0, 100),
                              field("drive_dbfs", FieldType::number, "dBFS", -140, 0),
                              field("power_w", FieldType::number, "W", 0, 10000)};
    std::vector<Field> readings{field("supply_idle_v", FieldType::number, "V", 0, 1000),
                                field("dc_offset_mv", FieldType::number, "mV", 0, 0)};  // no bounds
};

capture::Result<Job> parse_at(const std::string& text, double rate_hz) {
    static const Tables tables;
    static const capture::Bench bench = parse_bench(bench_text, "bench.toml").value();
    return parse_job_with(text, job_name, bench, rate_hz, {tables.measures, tables.common, tables.readings});
}

const auto parse_job_text = [](const std::string& text) { return parse_at(text, 96000.0); };

TEST(JobFile, ReadsEveryKey) {
    const auto job = parse_job_text(whole_job);
    ASSERT_TRUE(job.has_value()) << job.error().text;
    EXPECT_EQ(job->unit.kind, UnitKind::amplifier);
    EXPECT_EQ(job->unit.maker, "Größe & Söhne");
    EXPECT_EQ(job->unit.condition, "as found,\ndusty");
    EXPECT_EQ(job->unit.minimum_load_ohm, 2.0);
    EXPECT_EQ(job->unit.minimum_bridged_load_ohm, 4.0);

    ASSERT_EQ(job->tests.size(), 3U);
    const cli::Test& power = job->tests[0];
    EXPECT_EQ(power.id, "power");
    EXPECT_EQ(power.measure, "gauge");
    EXPECT_EQ(power.loads, (std::vector<std::size_t>{1, 0}));  // in the order of the job
    EXPECT_EQ(power.reference, 2U);
    EXPECT_EQ(std::get<double>(power.fields.at("drive_volts")), 1.5);
    EXPECT_EQ(std::get<std::string>(power.fields.at("limits_on")), "total");
    EXPECT_EQ(std::get<std::vector<double>>(power.fields.at("distortion_limits_percent")),
              (std::vector<double>{0.1, 1, 10}));
    EXPECT_EQ(std::get<double>(power.fields.at("supply_idle_v")), 14.4);
    EXPECT_EQ(power.fields.size(), 5U);  // nothing that was left out
    EXPECT_EQ(power.lines.at(""), 12);
    EXPECT_EQ(power.lines.at("drive_volts"), 18);

    ASSERT_EQ(job->claims.size(), 3U);
    EXPECT_EQ(job->claims[0].load, "load-a");
    EXPECT_EQ(job->claims[0].at_least, 22.0);
    EXPECT_EQ(job->claims[0].at_supply_volts, 14.4);
    EXPECT_EQ(job->claims[0].at_load_ohm, 4.0);
    EXPECT_EQ(job->claims[0].channels_driven, 2.0);
    EXPECT_EQ(job->claims[1].load, "load-a");  // the test's only load
    EXPECT_EQ(job->claims[1].nominal, 10.0);
    EXPECT_EQ(job->claims[1].within_percent, 5.0);
    EXPECT_EQ(job->claims[2].load, "");  // of the whole test
    EXPECT_EQ(job->claims[2].at_most, 100.0);
}

TEST(JobFile, SlipsInTests) {
    expect_slips(
        whole_job, job_name,
        {
            {"kind = \"amplifier\"", "kind = \"amplifer\"", "[unit]: unknown kind \"amplifer\"",
             "did you mean \"amplifier\"?"},
            {"serial = \"7\"", "serial = 7", "[unit]: serial is a number", "give a text in double quotes"},
            {"minimum_load_ohm = 2\n", "minimum_load_ohm = 0\n",
             "[unit]: minimum_load_ohm = 0 is out of range",
             "give a number above 0 and up to 1000000000 ohm"},
            {"id = \"power\"\n", "id = \"a/b\"\n",
             "test \"a/b\": id holds other characters than letters, digits, '-' and '_'",
             "its capture is named after it: use letters, digits, '-', '_', e.g. \"power-4-ohm\""},
            {"id = \"power\"\n", "", "test 1: id is missing", "name the test, e.g. id = \"power-4-ohm\"",
             "[[test]]"},
            {"id = \"one_Load\"", "id = \"power\"", "test \"power\": another test has this id (line 13)",
             "give each test its own id", "id = \"power\"\nmeasure = \"gauge\"\nloads = [\"load-a\"]\n"},
            {"id = \"one_Load\"", "id = \"Power\"",
             "test \"Power\": another test's id differs only in upper and lower case (line 13)",
             "give each test its own id"},
            {"measure = \"whole-only\"", "measure = \"whole-olny\"",
             "test \"sweep-3\": unknown measure \"whole-olny\"", "did you mean \"whole-only\"?"},
            {"measure = \"whole-only\"", "mesure = \"whole-only\"",
             "test \"sweep-3\": unknown key \"mesure\"", "did you mean \"measure\"?"},
            {"measure = \"whole-only\"\n", "", "test \"sweep-3\": measure is missing",
             "say what is measured, e.g. measure = \"gauge\"", "[[test]]\nid = \"sweep-3\""},
            {"needed = \"x\"", "neded = \"x\"", "test \"sweep-3\": unknown key \"neded\"",
             "did you mean \"needed\"?"},
            {"needed = \"x\"\n", "", "test \"sweep-3\": needed is missing", "add it: what is needed",
             "[[test]]\nid = \"sweep-3\""},
            {"needed = \"x\"", "needed = \"x\"\nlimits_on = \"total\"",
             "test \"sweep-3\": unknown key \"limits_on\"",
             "known: \"id\", \"measure\", \"loads\", \"inputs\", \"reference\", \"frequency_hz\", "
             "\"drive_volts\", "
             "\"drive_dbfs\", "
             "\"power_w\", \"supply_idle_v\", \"dc_offset_mv\", \"needed\"",
             "limits_on = \"total\"\n\n[[claim]]"},
            {"frequency_hz = 997", "frequency_hz = 50000",
             "test \"power\": frequency_hz = 50000 is out of range", "give a number from 1 to 40000 Hz"},
            {"frequency_hz = 997", "frequency_khz = 1", "test \"power\": unknown key \"frequency_khz\"",
             "did you mean \"frequency_hz\"?"},
            {"frequency_hz = 997", "drive_dbfs = -3", "test \"power\": drive_dbfs stands beside drive_volts",
             "give one of the two"},
            {"limits_on = \"total\"", "limits_on = \"totl\"", "test \"power\": unknown limits_on \"totl\"",
             "did you mean \"total\"?"},
            {"[0.1, 1, 10]", "[]", "test \"power\": distortion_limits_percent is a list of 0 numbers",
             "give a list such as [1, 10]; each a number from 0.001 to 50 %",
             "distortion_limits_percent = []"},
            {"[0.1, 1, 10]", "[1, 1.0]",
             "test \"power\": distortion_limits_percent holds 1, which is there twice",
             "give each number once", "[1, 1.0]"},
            {"[0.1, 1, 10]", "[1,\n 60]",
             "test \"power\": distortion_limits_percent holds 60, which is out of range",
             "give a list such as [1, 10]; each a number from 0.001 to 50 %", " 60]"},
            {"[0.1, 1, 10]", "1", "test \"power\": distortion_limits_percent is a number",
             "give a list such as [1, 10]; each a number from 0.001 to 50 %",
             "distortion_limits_percent = 1"},
            {"loads = [\"load-b\", \"load-a\"]\n", "", "test \"power\": loads is missing",
             "name the loads that are measured together, e.g. loads = [\"load-a\"]", "[[test]]"},
            {"loads = [\"load-b\", \"load-a\"]", "loads = []", "test \"power\": loads is empty",
             "name at least one load"},
            {"loads = [\"load-b\", \"load-a\"]", "loads = [\"load-c\"]",
             "test \"power\": loads: the bench has no load \"load-c\"", "did you mean \"load-a\"?"},
            {"reference = \"unit-input\"", "reference = \"unit-inptu\"",
             "test \"power\": reference: the bench has no input \"unit-inptu\"",
             "did you mean \"unit-input\"?"},
            {"reference = \"unit-input\"", "reference = \"probe-a\"",
             "test \"power\": input \"probe-a\" has another role than \"reference\"",
             "give that input role = \"reference\" in the bench file, if it sits on the unit's own input"},
            {"drive_volts = 1.5", "drive_volts = 2.5",
             "test \"power\": drive_volts: too much for output 'drive'", "go lower"},
            {"supply_idle_v = 14.4", "supply_idle_v = nan",
             "test \"power\": supply_idle_v = nan is out of range", "give a number from 0 to 1000 V"},
            {"[[test]]\nid = \"power\"", "[[tests]]\nid = \"power\"", "unknown table \"tests\"",
             "did you mean \"test\"?"},
        },
        parse_job_text);
    // A fault of a check that names no key stands at the table.
    EXPECT_EQ(parse_at(whole_job, 32000.0).error().text, "job.toml:12: test \"power\": the rate is too low");
    EXPECT_EQ(parse_job_text("[unit]\n").error().text, "job.toml:1: the job has no [[test]]");
    EXPECT_EQ(parse_job_text("test = []\n").error().text, "job.toml:1: the job has no [[test]]");
}

TEST(JobFile, IdsAreSafeFileNames) {
    for (const char* good : {"a", "Power-4_ohm", "-x", "0", "com10", "console", "players", "level-sets"}) {
        EXPECT_EQ(id_fault(good), "") << good;
    }
    for (const char* bad : {"", "a b", "a.b", "..", "a/b", "a\\b", "é", "con", "CON", "nul", "Aux", "prn",
                            "com1", "LPT9", "level-set", "Level-Set", "PLAY", "play", "a\n"}) {
        EXPECT_NE(id_fault(bad), "") << bad;
    }
    EXPECT_EQ(id_fault(std::string(100, 'a')), "");
    EXPECT_NE(id_fault(std::string(101, 'a')), "");
}

TEST(JobFile, SlipsInClaims) {
    expect_slips(
        whole_job, job_name,
        {
            {"test = \"one_Load\"", "test = \"one_Laod\"", "claim \"10 W\": the job has no test \"one_Laod\"",
             "did you mean \"one_Load\"?"},
            {"load = \"load-a\"\nquantity", "load = \"load-c\"\nquantity",
             "claim \"22 W into 4 ohm\": test \"power\" has no load \"load-c\"", "did you mean \"load-b\"?"},
            {"load = \"load-a\"\nquantity", "quantity",
             "claim \"22 W into 4 ohm\": load is missing: test \"power\" has 2 loads",
             "say which, e.g. load = \"load-b\"", "[[claim]]"},
            {"test = \"one_Load\"\n", "test = \"one_Load\"\nload = \"load-b\"\n",
             "claim \"10 W\": test \"one_Load\" has no load \"load-b\"", "did you mean \"load-a\"?",
             "load = \"load-b\""},
            {"quantity = \"total_w\"", "load = \"load-a\"\nquantity = \"total_w\"",
             "claim \"total\": load: \"total_w\" is a quantity of the whole test", "leave load out"},
            {"quantity = \"total_w\"", "quantity = \"totl_w\"",
             "claim \"total\": measure \"gauge\" of test \"power\" has no quantity \"totl_w\"",
             "did you mean \"total_w\"?"},
            {"quantity = \"power_at_10_percent_w\"", "quantity = \"power_at_0_5_percent_w\"",
             "claim \"10 W\": quantity: test \"one_Load\" does not ask for \"power_at_0_5_percent_w\"",
             "add 0.5 to its distortion_limits_percent"},
            {"at_most = 100", "at_most = 100\nat_least = 1",
             "claim \"total\": at_most stands beside at_least", "give one of the two"},
            {"at_most = 100\n", "", "claim \"total\": no limit is given",
             "give at_least, at_most, nominal with within_percent, or nominal_impedance_ohm",
             "[[claim]]\ntext = \"total\""},
            {"at_most = 100", "atmost = 100", "claim \"total\": unknown key \"atmost\"",
             "did you mean \"at_most\"?"},
            {"at_most = 100", "at_most = inf", "claim \"total\": at_most = inf is out of range",
             "give a number"},
            {"at_most = 100", "at_most = 100\nwithin_percent = 6",
             "claim \"total\": within_percent goes with nominal only", "take it out", "within_percent = 6"},
            {"within_percent = 5\n", "", "claim \"10 W\": within_percent is missing",
             "say how far from nominal is still met", "[[claim]]\ntext = \"10 W\""},
            {"nominal = 10.0\n", "", "claim \"10 W\": no limit is given",
             "give at_least, at_most, nominal with within_percent, or nominal_impedance_ohm",
             "[[claim]]\ntext = \"10 W\""},
            {"text = \"10 W\"", "text = \"\"", "claim 2: text is empty",
             "give a text of at least one character"},
            {"channels_driven = 2", "channels_driven = 1.5",
             "claim \"22 W into 4 ohm\": channels_driven = 1.5 is out of range",
             "give a whole number from 1 to 256"},
        },
        parse_job_text);
}

TEST(JobFile, LimitsLeftOutAreThoseOfTheMeasure) {
    const std::vector<Measure> measures = own_measures();
    cli::Test test;
    using Names = std::vector<std::string>;
    EXPECT_EQ(quantity_names(measures[0].quantities[0], measures[0], test),
              (Names{"power_at_1_percent_w", "power_at_10_percent_w"}));
    test.fields["distortion_limits_percent"] = std::vector<double>{0.03, 3};
    EXPECT_EQ(quantity_names(measures[0].quantities[0], measures[0], test),
              (Names{"power_at_0_03_percent_w", "power_at_3_percent_w"}));
    EXPECT_EQ(quantity_names(measures[0].quantities[1], measures[0], test), Names{"gain_db"});
}

}  // namespace
}  // namespace assay::cli
