#include <gmock/gmock.h>

#include <atomic>

#include "capture/device/recordings.h"
#include "unit/capture/sound_files.h"

namespace assay::capture {
namespace {

using helpers::bytes_of;
using helpers::Folder;
using helpers::noise;
using helpers::write_bytes;
using helpers::write_file;
using testing::HasSubstr;

const std::atomic<bool> go_on{false};

struct Place {
    Folder folder{};
    std::filesystem::path recordings = folder / "recordings";
    std::filesystem::path captures = folder / "captures";
    Place() {
        std::filesystem::create_directory(recordings);
        std::filesystem::create_directory(captures);
    }
    Result<Recording> play(const std::string& name, const std::atomic<bool>& stop = go_on) const {
        return RecordingsDevice(recordings).play_and_record({.capture_name = name, .into = captures}, stop);
    }
};

TEST(RecordingsDevice, CopiesTheRecordingByteForByte) {
    for (const auto& [name, ending, type] : std::vector<std::tuple<std::string, std::string, int>>{
             {"power-4.wav", ".wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24},
             {"power-4.WAV", ".wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
             {"power-4.Flac", ".flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24},
             {"power-4.rf64", ".rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24},
             {"power-4.w64", ".w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24},
             {"power-4.aif", ".aif", SF_FORMAT_AIFF | SF_FORMAT_PCM_24},
             {"power-4.AIFF", ".aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16}}) {
        const Place place;
        write_file(place.recordings / name, {.type = type, .channels = 2}, noise(4000, 0.1));
        write_bytes(place.recordings / "power-4.txt", "notes");
        write_file(place.recordings / "power-40.wav", {}, noise(10, 0.1));
        const auto recording = place.play("power-4");
        ASSERT_TRUE(recording.has_value()) << recording.error().text;
        EXPECT_EQ(recording->path, place.captures / ("power-4" + ending));
        EXPECT_EQ(recording->frames, 2000);
        EXPECT_EQ(recording->channels, 2);
        EXPECT_EQ(bytes_of(recording->path), bytes_of(place.recordings / name));
        EXPECT_EQ(std::distance(std::filesystem::directory_iterator(place.captures), {}), 1)
            << "no temporary file";
    }
}

TEST(RecordingsDevice, AMissingRecordingIsNamed) {
    const Place place;
    write_file(place.recordings / "Power-4.wav", {}, noise(10, 0.1));
    const auto missing = place.play("noise");
    ASSERT_FALSE(missing.has_value());
    EXPECT_EQ(missing.error().kind, FaultKind::untrusted_capture);
    EXPECT_EQ(missing.error().text,
              "no recording " + (place.recordings / "noise").string() + ".wav or .flac");
    EXPECT_FALSE(missing.error().mend.empty());
    const auto other_case = place.play("power-4");
    ASSERT_FALSE(other_case.has_value());
    EXPECT_THAT(other_case.error().mend, HasSubstr("rename Power-4.wav"));
}

TEST(RecordingsDevice, ACompressedRecordingIsToldAsSuch) {
    const Place place;
    write_bytes(place.recordings / "Power-4.M4A", "a memo");
    const auto refused = place.play("power-4");
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().kind, FaultKind::untrusted_capture);
    EXPECT_EQ(refused.error().text, (place.recordings / "Power-4.M4A").string() +
                                        ": a compressed recording has lost what is to be measured");
    EXPECT_THAT(place.play("noise").error().text, HasSubstr("no recording"));
    // Beside a good one it does no harm.
    write_file(place.recordings / "power-4.wav", {}, noise(10, 0.1));
    EXPECT_TRUE(place.play("power-4").has_value());
}

TEST(RecordingsDevice, TwoOfOneNameAreBothNamed) {
    const Place place;
    write_file(place.recordings / "a.wav", {}, noise(10, 0.1));
    write_file(place.recordings / "a.flac", {.type = SF_FORMAT_FLAC | SF_FORMAT_PCM_16}, noise(10, 0.1));
    const auto both = place.play("a");
    ASSERT_FALSE(both.has_value());
    EXPECT_EQ(both.error().kind, FaultKind::untrusted_capture);
    EXPECT_EQ(both.error().text, "two recordings of one test: " + (place.recordings / "a.flac").string() +
                                     " and " + (place.recordings / "a.wav").string());
}

TEST(RecordingsDevice, WhatIsNoSoundIsNotCopied) {
    const Place place;
    write_bytes(place.recordings / "a.wav", "no sound");
    const auto refused = place.play("a");
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().kind, FaultKind::untrusted_capture);
    EXPECT_TRUE(std::filesystem::is_empty(place.captures));
}

TEST(RecordingsDevice, WhatCannotBeWrittenIsNoErrorOfTheProgram) {
    const Place place;
    write_file(place.recordings / "a.wav", {}, noise(10, 0.1));
    const auto refused = RecordingsDevice(place.recordings)
                             .play_and_record({.capture_name = "a", .into = place.folder / "nowhere"}, go_on);
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().kind, FaultKind::not_written);
}

TEST(RecordingsDevice, AFolderThatIsNotThere) {
    const Place place;
    const auto refused = RecordingsDevice(place.folder / "nowhere").find("a");
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().kind, FaultKind::bad_arguments);
}

TEST(RecordingsDevice, RecordingsThatLieInTheCapturesAlreadyStayAsTheyAre) {
    const Place place;
    write_file(place.captures / "a.wav", {}, noise(10, 0.1));
    const std::string before = bytes_of(place.captures / "a.wav");
    const auto recording = RecordingsDevice(place.captures)
                               .play_and_record({.capture_name = "a", .into = place.captures}, go_on);
    ASSERT_TRUE(recording.has_value());
    EXPECT_EQ(bytes_of(recording->path), before);
}

TEST(RecordingsDevice, StopsByHand) {
    const Place place;
    write_file(place.recordings / "a.wav", {}, noise(10, 0.1));
    const auto stopped = place.play("a", std::atomic<bool>{true});
    ASSERT_FALSE(stopped.has_value());
    EXPECT_EQ(stopped.error().kind, FaultKind::stopped);
    EXPECT_TRUE(std::filesystem::is_empty(place.captures));
}

}  // namespace
}  // namespace assay::capture
