// What a person reads in the terminal: numbers rounded with their uncertainty, what limits them, conditions.
#include "cli/report/show.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <sstream>

#include "cli/files/plain_text.h"
#include "cli/files/session/session_findings.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"
#include "cli/report/source_words.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using testing::HasSubstr;
using testing::Not;

/// A quantity whose expanded uncertainty is `expanded`.
Quantity with_expanded(double value, double expanded, const std::string& unit) {
    return {value, unit, {{"x", expanded / Quantity::coverage_factor}}};
}

TEST(Numbers, AreRoundedAsPublishedResultsAre) {
    // JCGM 100:2008, example H.2: 219.847(295) and 254.260(236) ohm to six figures; a published data set of
    // the same example prints them to two digits of the uncertainty as 219.85(30) and 254.26(24). The
    // resistance, 127.732(71) ohm, stands so in the example itself.
    EXPECT_EQ(value_text(with_expanded(219.846512, 0.295582, "ohm")), "219.85 ± 0.30 Ω");
    EXPECT_EQ(value_text(with_expanded(254.259702, 0.236336, "ohm")), "254.26 ± 0.24 Ω");
    EXPECT_EQ(value_text(with_expanded(127.732170, 0.071071, "ohm")), "127.732 ± 0.071 Ω");
    // JCGM 100:2008, 7.2.2: 100.02147 g with 0.35 mg (7.2.6: no more than two digits).
    EXPECT_EQ(value_text(with_expanded(100.02147, 0.00035, "g")), "100.02147 ± 0.00035 g");
    // What a crystal of 50 ppm times is not printed as if it were exact (common practice, no source).
    EXPECT_EQ(value_text(with_expanded(47.192799, 0.000025, "Hz")), "47.19 ± 0.01 Hz");
    EXPECT_EQ(value_text(with_expanded(3.527585, 0.000015, "")), "3.528 ± 0.001");
    EXPECT_EQ(value_text(with_expanded(997.0, 0.001, "Hz")), "997.0 ± 0.1 Hz");
    EXPECT_EQ(value_text(with_expanded(2.2e-7, 9.7e-7, "dB")), "0.0000 ± 0.0001 dB");
    EXPECT_EQ(value_text(with_expanded(43.51234, 0.00021, "dB")), "43.51234 ± 0.00021 dB");
    EXPECT_EQ(value_text(with_expanded(1000.0, 0.1, "Hz")), "1000.00 ± 0.10 Hz");
}

TEST(Numbers, KeepValueAndUncertaintyToOnePlace) {
    // Plain decimal rounding, by hand.
    EXPECT_EQ(value_text(with_expanded(46.1234, 1.4449, "W")), "46.1 ± 1.4 W");
    EXPECT_EQ(value_text(with_expanded(9.96, 0.0996, "dB")), "9.96 ± 0.10 dB");
    EXPECT_EQ(value_text(with_expanded(12344.0, 229.0, "W")), "12340 ± 230 W");
    EXPECT_EQ(value_text(with_expanded(0.0, 0.5, "dB")), "0.00 ± 0.50 dB");
    EXPECT_EQ(value_text(with_expanded(-0.001, 0.5, "dB")), "0.00 ± 0.50 dB");
    EXPECT_EQ(value_text(with_expanded(-29.99, 0.12, "dB")), "-29.99 ± 0.12 dB");
    EXPECT_EQ(value_text(with_expanded(0.000213, 0.000036, "%")), "0.000213 ± 0.000036 %");
    EXPECT_EQ(value_text(with_expanded(61.2e-6, 1.3e-6, "V")), "61.2 ± 1.3 µV");
    EXPECT_EQ(value_text(with_expanded(0.0123, 0.0011, "V")), "12.3 ± 1.1 mV");
    EXPECT_EQ(value_text(with_expanded(42.0, 7.0, "")), "42.0 ± 7.0");
    EXPECT_EQ(value_text(analysis::exact(12.3456789, "W")), "12.35 W (no uncertainty stated)");
    EXPECT_LT(value_text(with_expanded(1e300, 1e298, "W")).size(), 40U);
}

TEST(Numbers, LimitsSayWhatTheyAre) {
    EXPECT_EQ(limit_text({22.0, {}}, "W"), "at least 22 W");
    EXPECT_EQ(limit_text({{}, 0.1}, "%"), "at most 0.1 %");
    EXPECT_EQ(limit_text({3.8, 4.2}, "ohm"), "from 3.8 to 4.2 Ω");
}

TEST(WhatLimits, NamesTheLargestSourceItsShareAndTheMend) {
    capture::Bench bench;
    bench.loads.resize(1);
    bench.inputs.resize(1);
    // Shares by hand: 0.027^2 / (0.027^2 + 0.013^2) = 0.8118; U = 2 x 0.02997 = 6.0 %.
    const Quantity power{100.0, "W", {{"load:load-a:resistance", 2.7}, {"input:probe-a:scale", -1.3}}};
    EXPECT_EQ(what_limits(power, bench), "load resistance gives 81 % of ±6.0 %; measure it with four wires");
    bench.loads.resize(2);
    EXPECT_THAT(what_limits(power, bench), HasSubstr("load resistance of load-a gives 81 %"));
    const Quantity volts{10.0, "V", {{"input:probe-a:scale", 0.5}}};
    bench.inputs[0].name = "probe-a";
    EXPECT_THAT(what_limits(volts, bench), HasSubstr("calibrate it by a meter"));
    bench.inputs[0].calibrated_at_hz = 83.0;
    EXPECT_THAT(what_limits(volts, bench), HasSubstr("calibrate it against a better meter"));
    const Quantity gain{30.0, "dB", {{"meter:bench-meter", 0.06}}};
    EXPECT_EQ(what_limits(gain, bench),
              "the meter's accuracy gives nearly all of ±0.12 dB; use a more accurate meter");
    EXPECT_THAT(what_limits(analysis::exact(1.0, "W"), bench), HasSubstr("nothing is stated"));
}

TEST(WhatLimits, KnowsEverySourceAndShowsOthersAsTheyAre) {
    const capture::Bench bench;
    for (const char* id :
         {"input:a:scale", "meter:a", "input:a:meter-digits", "load:a:resistance", "test:t:a:noise",
          "test:t:a:interpolation", "test:t:a:repeatability", "test:t:a:meter-digits",
          "input:a:own-distortion", "input:a:loopback", "test:t:supply-volts", "test:t:between-readings",
          "test:t:supply-crossing", "test:t:a:gain-drift", "test:t:a:quasi-peak"}) {
        const SourceWords words = source_words(id, bench);
        EXPECT_EQ(words.words.find(':'), std::string::npos) << id;
        EXPECT_FALSE(words.mend.empty()) << id;
    }
    // Nothing mends these: they are as fine as the log is.
    for (const char* id : {"test:t:a:time", "test:t:output-end", "test:t:a:crest"})
        EXPECT_EQ(source_words(id, bench).words.find(':'), std::string::npos) << id;
    EXPECT_EQ(source_words("phase-of-the-moon", bench).words, "phase-of-the-moon");
    EXPECT_EQ(source_words("input::scale", bench).words, "input::scale");
    EXPECT_EQ(source_words("", bench).words, "");
}

TEST(Words, OfQuantities) {
    EXPECT_EQ(quantity_words("power_at_1_percent_w"), "power at 1 % THD");
    EXPECT_EQ(quantity_words("power_at_0_1_percent_w", "thd+n"), "power at 0.1 % THD+N");
    EXPECT_EQ(quantity_words("voltage_at_10_percent_v"), "voltage at 10 % THD (RMS)");
    EXPECT_EQ(quantity_words("total_power_at_1_percent_w"), "total power at 1 % THD, all channels");
    EXPECT_EQ(quantity_words("harmonic_7_percent"), "harmonic 7, re fundamental");
    EXPECT_EQ(quantity_words("some_new_thing_hz"), "some new thing");
    EXPECT_EQ(unit_of("some_new_thing_hz"), "Hz");
}

TEST(PlainText, ShowsWhatWouldHideAndEndsWhatIsEndless) {
    EXPECT_EQ(visible_text("a\tb\nc"), "a b c");
    EXPECT_EQ(visible_text("\x1b[31m"), "\uFFFD[31m");
    EXPECT_EQ(visible_text("x\u202Ey\u200Bz\u0085"), "x\uFFFDy\uFFFDz\uFFFD");
    EXPECT_EQ(visible_text("\xff\xc0\x80"), "\uFFFD\uFFFD\uFFFD");
    EXPECT_EQ(visible_text("Grüße, 音響"), "Grüße, 音響");
    EXPECT_EQ(visible_text(std::string(10000, 'a'), 10), "aaaaaaaaaa … (9990 more characters)");
    EXPECT_EQ(columns_of("音響 é"), 6U);
}

TEST(PlainText, WrapsBetweenWordsAndNeverBeforeAUnit) {
    EXPECT_THAT(wrap("one two three", 7), testing::ElementsAre("one two", "three"));
    EXPECT_THAT(wrap("abcdefghij", 4), testing::ElementsAre("abcd", "efgh", "ij"));
    EXPECT_THAT(wrap("gives 81 % of", 8), testing::ElementsAre("gives", "81 % of"));
    EXPECT_THAT(wrap("", 4), testing::ElementsAre(""));
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) lines.push_back(line);
    return lines;
}

TEST(Show, EveryPowerStandsWithItsConditions) {
    for (const Session& session : {hand_made::many_verdicts(), hand_made::amplifier(), hand_made::bare()}) {
        const std::vector<std::string> lines = lines_of(show_text(session));
        const std::regex power(R"((^|\s)\d[\d.]*( ± [\d.]+)? W( |$|;))");
        int powers = 0;
        for (std::size_t i = 0; i + 1 < lines.size(); ++i) {
            const bool heading = lines[i].starts_with("  MET") || lines[i].starts_with("  NOT") ||
                                 lines[i].starts_with("  UNDECIDED");
            if (heading || !std::regex_search(lines[i], power)) continue;
            if (lines[i].find("not measured") != std::string::npos) continue;
            ++powers;
            bool follows = false;  // the row itself may take up to four lines
            for (std::size_t j = i + 1; j < std::min(lines.size(), i + 5) && !follows; ++j) {
                follows = std::regex_search(lines[j], std::regex(R"(^\s+at .*(supply).*)"));
            }
            EXPECT_TRUE(follows) << lines[i];
        }
        EXPECT_GT(powers, 0);
    }
}

TEST(Show, SaysTheBasisInFull) {
    const std::string text = show_text(hand_made::amplifier());
    EXPECT_THAT(text,
                HasSubstr("at 13.9 V supply (14.4 V idle), 4.03 Ω, 997 Hz, 1 % THD, 2 channels driven"));
    EXPECT_THAT(
        show_text(hand_made::bare()),
        HasSubstr("at supply voltage not stated, 8 Ω, frequency not stated, 1 % THD, 1 channel driven"));
}

TEST(Show, IsAtMostAHundredColumnsWideAndHidesNothing) {
    for (const Session& session :
         {hand_made::many_verdicts(), hand_made::hostile(), hand_made::with_fault(), hand_made::bare()}) {
        const std::string text = show_text(session);
        for (const std::string& line : lines_of(text)) EXPECT_LE(columns_of(line), 100U) << line;
        for (const char letter : text)
            EXPECT_TRUE(letter == '\n' || static_cast<unsigned char>(letter) >= 0x20);
        EXPECT_EQ(text.find("\u202E"), std::string::npos);
    }
}

TEST(Show, NumbersAtTheEndsOfWhatADoubleHoldsAreShown) {
    Session session = hand_made::amplifier();
    for (const double value : {1e-310, -4.9e-324, 1.79e308, 0.0}) {
        session.tests[0].result.conditions = {{"fit_residual_percent", value}};
        EXPECT_THAT(show_text(session), HasSubstr("left by the fit (RMS)")) << value;
    }
}

TEST(Show, AUnitThatMeetsItsClaimsFallsShortOfNothing) {
    Session session;
    EXPECT_EQ(findings_title(session), "What stands out");
    session.claims.emplace_back().verdict = analysis::Verdict::met;
    session.claims.emplace_back().verdict = analysis::Verdict::undecided;
    EXPECT_EQ(findings_title(session), "What stands out");
    session.claims.emplace_back().verdict = analysis::Verdict::not_met;
    EXPECT_EQ(findings_title(session), "Why it falls short");
}

TEST(Show, TellsVerdictsAbsencesFaultsAndWarnings) {
    const std::string text = show_text(hand_made::many_verdicts());
    EXPECT_LT(text.find("CLAIMS"), text.find("TEST power-4-ohm"));
    EXPECT_THAT(text, HasSubstr("\n  MET        22 W per channel into 4 ohm, 1 % THD\n"));
    EXPECT_THAT(text, HasSubstr("\n  NOT MET    2 x 150 W max\n"));
    EXPECT_THAT(text, HasSubstr("\n  UNDECIDED  60 W music power\n"));
    EXPECT_THAT(text, HasSubstr("power at 30 % THD                     no number"));
    EXPECT_THAT(text, HasSubstr("! hum at 50 Hz lies only 62 dB below the tone; run the computer from"));
    EXPECT_THAT(text, HasSubstr("SIMULATED BENCH"));
    EXPECT_THAT(show_text(hand_made::amplifier()), Not(HasSubstr("SIMULATED")));
    const std::string failed = show_text(hand_made::with_fault());
    EXPECT_THAT(failed,
                HasSubstr("NO RESULT: captures/power-4-ohm.flac: 480 frames are missing (at 12.4 s)"));
}

}  // namespace
}  // namespace assay::cli
