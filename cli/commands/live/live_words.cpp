#include "cli/commands/live/live_words.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <string_view>

namespace assay::cli {

namespace {

struct Words {
    std::string_view recorded;
    std::string_view live;
};

// The longer ones first: a later one would break them up.
constexpr std::array<Words, 9> live_words{{
    {"record again; close other programs, use a larger buffer or another recorder",
     "end other programs, give the sound server a larger buffer, and run the test again"},
    {"lower the recorder's gain or raise the attenuation",
     "raise the attenuation, or lower the card's input gain and calibrate anew"},
    {"check that the player played, the leads and the input",
     "look at the leads, and at mutes and switches in the card's mixer"},
    {"record until the tone file has ended",
     "look at the sound device's cable and its server, then run again"},
    {"record all inputs of the test in one file, channel n being input channel n",
     "choose a record_device with that many inputs"},
    {"record the test's tone", "run the test again"},
    {"record again", "run the test again"},
    {"the recorder's gain", "the card's input gain"},
    {"the recording app", "the sound server"},
}};

// This program plays its own tones forwards: a beginning that is not known again has been broken on the way.
constexpr std::array<std::string_view, 3> beginnings{
    "the recording runs backwards",
    "another signal: the recording starts with another test's tone",
    "another signal: the start of this test's tone is not in the recording",
};
constexpr std::string_view broken_beginning =
    "the beginning of the tone came back broken: blocks were lost or doubled, or something else was heard";
constexpr std::string_view mend_of_beginning =
    "end other programs, give the sound server a larger buffer, look at leads and levels, and run the test "
    "again";

// On one clock the ratio is exactly one, and is found to a small part of this. Crystals differ by tens.
constexpr double one_clock_ppm = 20.0;

}  // namespace

std::string live_advice(std::string advice) {
    for (const Words& pair : live_words) {
        for (std::size_t at = advice.find(pair.recorded); at != std::string::npos;
             at = advice.find(pair.recorded, at + pair.live.size())) {
            advice.replace(at, pair.recorded.size(), pair.live);
        }
    }
    return advice;
}

void word_for_live(TestResult& result) {
    const auto reword = [](Numbers& numbers) {
        for (Warning& warning : numbers.warnings) warning.advice = live_advice(std::move(warning.advice));
        for (auto& [name, why] : numbers.absent) why.advice = live_advice(std::move(why.advice));
    };
    if (result.fault) {
        // A run whose repeated level has moved lost no samples: the unit or somebody's hand did it.
        const bool moved = result.fault->text.find("than at the start") != std::string::npos;
        result.fault->mend =
            moved ? "let unit and load cool, leave the gain control alone, and run the test again"
                  : live_advice(std::move(result.fault->mend));
        for (const std::string_view text : beginnings) {
            const std::size_t at = result.fault->text.find(text);
            if (at == std::string::npos) continue;
            result.fault->text.replace(at, text.size(), broken_beginning);
            result.fault->mend = mend_of_beginning;
        }
    }
    reword(result.whole);
    for (auto& [load, numbers] : result.loads) reword(numbers);
}

void note_second_clock(const capture::Bench& bench, TestResult& result) {
    if (!bench.shared_clock || result.fault) return;
    for (const auto& [name, value] : result.conditions) {
        const auto* ppm = std::get_if<double>(&value);
        if (name != "clock_ppm" || ppm == nullptr || std::abs(*ppm) < one_clock_ppm) continue;
        result.whole.warnings.push_back(
            {"second-clock",
             fmt::format("the recorder's clock runs {:.0f} ppm {} than the player's, although the bench says "
                         "shared_clock = true; it was measured and taken out",
                         std::abs(*ppm), *ppm > 0.0 ? "faster" : "slower"),
             "set shared_clock = false, or take one device that plays and records"});
    }
}

}  // namespace assay::cli
