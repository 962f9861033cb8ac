// The simulated bench as a device: the file it leaves, progress, stopping, faults.
#include <gtest/gtest.h>

#include <filesystem>

#include "capture/device/simulated.h"
#include "unit/simulated/take.h"

namespace assay::capture {
namespace {

struct SimulatedDeviceTest : testing::Test {
    void SetUp() override {
        const auto* info = testing::UnitTest::GetInstance()->current_test_info();
        folder = std::filesystem::temp_directory_path() / (std::string("assay-simulated-") + info->name());
        std::filesystem::remove_all(folder);
        std::filesystem::create_directories(folder);
    }
    void TearDown() override { std::filesystem::remove_all(folder); }
    std::filesystem::path folder;
    std::atomic<bool> stop{false};
};

TEST_F(SimulatedDeviceTest, LeavesAWaveFileOfWhatWasRecorded) {
    const Bench bench = test::two_channel_bench(4.0);
    SimulatedDevice device(bench);
    const Tone tone = test::steady_tone(997.0, -20.0, 0.2);
    std::vector<double> progress;
    PlayRequest request{.capture_name = "take", .tone = &tone, .outputs = {0, 1}, .into = folder};
    request.progress = [&](double done) { progress.push_back(done); };
    const auto recording = device.play_and_record(request, stop);
    ASSERT_TRUE(recording.has_value()) << recording.error().text;
    EXPECT_TRUE(device.simulated());
    EXPECT_EQ(recording->path, folder / "take.wav");
    EXPECT_EQ(recording->rate_hz, 96000.0);
    EXPECT_EQ(recording->channels, 2);
    EXPECT_EQ(recording->bits, 24);
    EXPECT_EQ(recording->frames, recorded_frames(bench.simulated.card, tone));
    EXPECT_TRUE(std::is_sorted(progress.begin(), progress.end()));
    EXPECT_EQ(progress.back(), 1.0);

    auto reader = RecordingReader::open(*recording);
    ASSERT_TRUE(reader.has_value());
    const std::vector<int> channels{1, 2};
    const auto read = reader->read(channels, 0, recording->frames);
    ASSERT_TRUE(read.has_value());
    const test::Channels direct = test::record(bench, tone, {0, 1});
    for (std::size_t c = 0; c < 2; ++c) {
        ASSERT_EQ((*read)[c].size(), direct[c].size());
        for (std::size_t i = 0; i < direct[c].size(); ++i) {
            ASSERT_EQ(static_cast<double>((*read)[c][i]), direct[c][i]) << i;
        }
    }
}

TEST_F(SimulatedDeviceTest, StoppedByHandItFadesAndKeepsWhatItHas) {
    Bench bench = test::two_channel_bench(4.0);
    SimulatedDevice device(bench);
    const Tone tone = test::steady_tone(1000.0, -20.0, 10.0);
    PlayRequest request{.capture_name = "take", .tone = &tone, .outputs = {0}, .into = folder};
    request.progress = [&](double done) { stop = done > 0.05; };
    const auto recording = device.play_and_record(request, stop);
    ASSERT_FALSE(recording.has_value());
    EXPECT_EQ(recording.error().kind, FaultKind::stopped);
    const auto kept = open_recording(folder / "take.wav");
    ASSERT_TRUE(kept.has_value()) << kept.error().text;
    EXPECT_GT(kept->duration_s(), 0.5);
    EXPECT_LT(kept->duration_s(), 0.7);
}

TEST_F(SimulatedDeviceTest, AFolderThatIsNotThereIsAFault) {
    SimulatedDevice device(test::two_channel_bench(4.0));
    const Tone tone = test::steady_tone(1000.0, -20.0, 0.1);
    const PlayRequest request{.capture_name = "take", .tone = &tone, .outputs = {0}, .into = folder / "none"};
    EXPECT_FALSE(device.play_and_record(request, stop).has_value());
}

}  // namespace
}  // namespace assay::capture
