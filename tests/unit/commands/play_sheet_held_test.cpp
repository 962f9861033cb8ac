// PLAY.txt of an endurance test: heat against P = V^2 / R and E = P t, and the words that keep a hand safe.
#include "cli/commands/play_sheet/play_sheet_held.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <string>

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;

cli::Test held_for(double minutes) {
    cli::Test test;
    test.id = "held";
    test.measure = "endurance";
    test.fields["minutes"] = minutes;
    return test;
}

capture::Tone sine_of(double seconds, double level_dbfs) {
    capture::Tone tone;
    tone.rate_hz = 48000.0;
    tone.frames = static_cast<std::int64_t>(seconds * tone.rate_hz);
    tone.segments.push_back({.frames = tone.frames, .level_dbfs = level_dbfs, .fade_frames = 240});
    return tone;
}

capture::Load load_of(double rating_w) {
    capture::Load load;
    load.name = "load-a";
    load.resistance_ohm = 4.0;
    load.rated_power_w = rating_w;
    return load;
}

/// Wherever the sheet breaks its lines.
std::string in_one_line(const std::string& text) {
    return std::regex_replace(text, std::regex("\\s+"), " ");
}

TEST(HeldSheet, ALoopedFileIsPlayedForTheWholeTime) {
    const cli::Test test = held_for(90.0);
    const SheetEntry entry{&test, sine_of(60.0, -10.0)};
    EXPECT_DOUBLE_EQ(played_s(entry), 5400.0);
    const std::string text = in_one_line(held_lines(entry, false));
    for (const char* word :
         {"DOES NOT END BY ITSELF", "STAYS BESIDE IT", "STOP AT ONCE", "Battery", "90 minutes"})
        EXPECT_THAT(text, HasSubstr(word));
    EXPECT_THAT(held_lines(entry, true), Not(HasSubstr("200 degrees")));
    const SheetEntry whole{&test, sine_of(5400.0, -10.0)};
    EXPECT_THAT(in_one_line(held_lines(whole, false)), Not(HasSubstr("DOES NOT END BY ITSELF")));
}

TEST(HeldSheet, StopsABatteryAtTheVoltsOfTheJob) {
    cli::Test test = held_for(90.0);
    test.fields["end_supply_v"] = 11.5;
    EXPECT_THAT(held_lines({&test, sine_of(60.0, -10.0)}, false), HasSubstr("reads 11.5 V"));
}

TEST(HeldSheet, HeatIsThatOfTheWholeTime) {
    const cli::Test test = held_for(90.0);
    // 50 W at level-set; 3.0103 dB below it 25 W; for an hour and a half 37.5 Wh.
    const SheetEntry entry{&test, sine_of(60.0, -13.0103)};
    const std::string text = held_heat_line(entry, load_of(100.0), 50.0, -10.0);
    EXPECT_THAT(text, HasSubstr("25 W all the time"));
    EXPECT_THAT(text, HasSubstr("37.5 Wh"));
    EXPECT_THAT(text, HasSubstr("Within the load's 100 W.\n"));
    EXPECT_THAT(held_heat_line(entry, load_of(25.1), 50.0, -10.0), HasSubstr("not by much"));
    EXPECT_THAT(held_heat_line(entry, load_of(24.9), 50.0, -10.0), HasSubstr("DO NOT PLAY THIS"));
}

TEST(HeldSheet, WithoutAClaimTheMeterTells) {
    const cli::Test test = held_for(90.0);
    // 20 V across 4 ohm are 100 W.
    EXPECT_THAT(held_heat_line({&test, sine_of(60.0, -10.0)}, load_of(100.0), std::nullopt, -10.0),
                HasSubstr("More than 20 V is more than its 100 W"));
}

}  // namespace
}  // namespace assay::cli
