// PLAY.txt of a driver's job: what it says of volts and heat, against closed forms.
#include "cli/commands/play_sheet/play_sheet.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "capture/tone/impedance_tone.h"
#include "cli/commands/play_sheet/play_sheet_jig.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;

capture::Bench jig_bench() {
    capture::Bench bench;
    bench.outputs = {capture::Output{.name = "drive"}};
    bench.inputs = {capture::Input{.name = "jig-1"}, capture::Input{.name = "jig-2"}};
    bench.jig.emplace();
    bench.jig->series_ohm = 25.0;
    bench.jig->generator_side = 0;
    bench.jig->driver_side = 1;
    return bench;
}

TEST(PlaySheet, SaysWhatATonePutsIntoTheJig) {
    Job job;
    job.unit.kind = UnitKind::driver;
    cli::Test with_mass;
    with_mass.id = "with-mass";
    with_mass.measure = "impedance";
    with_mass.fields["added_mass_g"] = 10.0;
    cli::Test match;
    match.id = "inputs";
    match.measure = "match";
    // 6.0206 dB above level-set.wav: twice its volts, 0.2 V * sqrt(2) * 2 = 0.57 V peak.
    const capture::Tone tone = capture::make_impedance_tone({.level_dbfs = -10.0 + 6.0206});
    const std::vector<SheetEntry> entries{{&match, tone}, {&with_mass, tone}};
    const std::string text =
        play_sheet(job, jig_bench(), entries, {.level_dbfs = -10.0, .frequency_hz = 83.0});
    EXPECT_THAT(text, HasSubstr("0.57 V peak"));
    EXPECT_THAT(text, HasSubstr("10 g pressed onto its cone"));
    EXPECT_THAT(text, HasSubstr("both inputs on the generator's end"));
    EXPECT_EQ(text.find("connected and driven together"), std::string::npos);
    EXPECT_EQ(text.find("amplifier's"), std::string::npos);

    // Volts RMS from the rendered tone itself, and V^2 / 4 R of it, the most that a source of 25 ohm gives
    // away (the maximum power theorem).
    std::vector<float> played(static_cast<std::size_t>(tone.frames));
    capture::render(tone, 0, played);
    const double volts = 0.2 * std::sqrt(2.0) / std::pow(10.0, -10.0 / 20.0);  // for sample value 1
    double sum = 0.0;
    for (const float value : played) sum += static_cast<double>(value) * static_cast<double>(value);
    const double most_ws = volts * volts * sum / tone.rate_hz / (4.0 * 25.0);
    const std::string line = jig_lines(entries[1], jig_bench(), {.level_dbfs = -10.0});
    const std::size_t at = line.find("at most ");
    ASSERT_NE(at, std::string::npos) << line;
    EXPECT_NEAR(std::stod(line.substr(at + 8)) / most_ws, 1.0, 0.06) << line;  // told with two digits
    EXPECT_EQ(jig_lines(entries[0], jig_bench(), {.level_dbfs = -10.0}).find("at most "), std::string::npos);
}

TEST(PlaySheet, SaysWhatTheSupplyIsSetToAndWhenItIsChanged) {
    capture::Bench bench;
    bench.outputs = {capture::Output{.name = "drive"}};
    bench.inputs = {capture::Input{.name = "probe"}};
    bench.loads = {capture::Load{.name = "load-a", .resistance_ohm = 4.0}};
    std::vector<cli::Test> tests(4);
    for (std::size_t k = 0; k < tests.size(); ++k) {
        tests[k].id = "test-" + std::to_string(k);
        tests[k].measure = "distortion";
        tests[k].loads = {0};
    }
    tests[0].fields["supply_set_v"] = 14.4;
    tests[1].fields["supply_set_v"] = 14.4;
    tests[2].fields["supply_set_v"] = 12.0;
    tests[2].measure = "noise";
    const capture::Tone tone = capture::make_impedance_tone({});
    capture::Tone silence;
    silence.frames = 96000;
    const std::string text = play_sheet(
        {}, bench, {{&tests[0], tone}, {&tests[1], tone}, {&tests[2], silence}, {&tests[3], tone}}, {});
    const std::size_t first = text.find("SET IT TO 14.4 V");
    const std::size_t same = text.find("as before, 14.4 V");
    const std::size_t changed = text.find("SET IT TO 12 V");
    EXPECT_TRUE(first < same && same < changed && changed != std::string::npos) << text;
    EXPECT_EQ(text.find("supply: ", changed + 1), std::string::npos) << "the last test states none";
}

}  // namespace
}  // namespace assay::cli
