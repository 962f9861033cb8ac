// The tone of an impedance measurement in session.json.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "capture/tone/impedance_tone.h"
#include "cli/files/session/session_file.h"
#include "support/hand_made_sessions.h"
#include "unit/session/same_session.h"

namespace assay::cli {
namespace {

using nlohmann::ordered_json;

struct File {
    std::filesystem::path folder =
        std::filesystem::path(testing::TempDir()) / ("assay-take-" + std::to_string(::getpid()));
    File() { std::filesystem::create_directories(folder); }
    ~File() {
        std::error_code error;
        std::filesystem::remove_all(folder, error);
    }
    File(const File&) = delete;
    File& operator=(const File&) = delete;
    void put(const std::string& text) const {
        std::ofstream(folder / "session.json", std::ios::binary) << text;
    }
};

Session with_impedance_tone() {
    Session session = hand_made::many_verdicts();
    session.tests[0].takes[0].tone =
        capture::make_impedance_tone({.rate_hz = 44100.0, .stop_hz = 2000.0, .code = "free-air"});
    return session;
}

TEST(Take, AnImpedanceToneComesBackAsItWas) {
    const File file;
    const Session written = with_impedance_tone();
    file.put(session_text(written));
    const auto read = read_session(file.folder);
    ASSERT_TRUE(read) << read.error().text;
    const capture::Tone& before = written.tests[0].takes[0].tone;
    const capture::Tone& after = read->tests[0].takes[0].tone;
    EXPECT_TRUE(all_same(before.segments, after.segments));
    EXPECT_EQ(before.frames, after.frames);
}

TEST(Take, SweepPairBurstAndNoiseComeBackAsTheyWere) {
    const File file;
    Session written = hand_made::many_verdicts();
    capture::Tone& tone = written.tests[0].takes[0].tone;
    tone.segments = {
        {1000, 9000, capture::LogSweep{5.0, 1.4}, -20.0, 10, capture::SegmentRole::step},
        {20000, 9000, capture::SinePair{60.0, 7000.0, 0.8}, -10.0, 10, capture::SegmentRole::step},
        {30000, 9000, capture::ToneBurst{1000.0, 0.02, 0.48, 20.0}, -3.0, 10, capture::SegmentRole::step},
        {40000, 9000, capture::ShapedNoise{8.0, 12.0}, -3.0, 10, capture::SegmentRole::step}};
    tone.frames = 50000;
    file.put(session_text(written));
    const auto read = read_session(file.folder);
    ASSERT_TRUE(read) << read.error().text;
    EXPECT_TRUE(all_same(tone.segments, read->tests[0].takes[0].tone.segments));
}

TEST(Take, AMultitoneThatCannotBeIsRefused) {
    struct Change {
        std::string column;
        ordered_json value;
        std::string said;
    };
    const std::vector<Change> changes = {
        {"period_s", 0.0, "multitone"},
        {"period_s", 1e9, "multitone"},
        {"lines_per_octave", 0.0, "multitone"},
        {"lines_per_octave", -3, "multitone"},
        {"from_hz", 0.0, "multitone"},
        {"from_hz", -1.0, "a frequency is out of all measure"},
        {"to_hz", 1e12, "a frequency is out of all measure"},
        {"law", "manytone", "a law is none of"},
    };
    for (const auto& [column, value, said] : changes) {
        ordered_json document = ordered_json::parse(session_text(with_impedance_tone()));
        auto& segments = document["tests"]["power-4-ohm"]["takes"][0]["tone"]["segments"];
        std::size_t step = 0;
        while (segments["law"][step] != "multitone") ++step;
        segments[column][step] = value;
        const File file;
        file.put(document.dump());
        const auto read = read_session(file.folder);
        ASSERT_FALSE(read) << column;
        EXPECT_EQ(read.error().kind, capture::FaultKind::bad_input_file);
        EXPECT_NE(read.error().text.find(said), std::string::npos) << column << ": " << read.error().text;
    }
    ordered_json document = ordered_json::parse(session_text(with_impedance_tone()));
    document["tests"]["power-4-ohm"]["takes"][0]["tone"]["segments"]["period_s"].erase(0);
    const File file;
    file.put(document.dump());
    EXPECT_FALSE(read_session(file.folder));
}

}  // namespace
}  // namespace assay::cli
