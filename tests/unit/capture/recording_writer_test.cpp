#include <gmock/gmock.h>

#include <array>
#include <cmath>
#include <limits>

#include "capture/recording.h"
#include "unit/capture/sound_files.h"

namespace assay::capture {
namespace {

using helpers::bytes_of;
using helpers::Folder;
using helpers::noise;

std::vector<int> integers_in(const std::filesystem::path& path, int bits) {
    SF_INFO info{};
    SNDFILE* file = sf_open(path.string().c_str(), SFM_READ, &info);
    EXPECT_NE(file, nullptr);
    std::vector<int> samples(static_cast<std::size_t>(info.frames * info.channels));
    EXPECT_EQ(sf_read_int(file, samples.data(), static_cast<sf_count_t>(samples.size())),
              static_cast<sf_count_t>(samples.size()));
    sf_close(file);
    for (int& sample : samples) sample >>= 32 - bits;
    return samples;
}

void write(const std::filesystem::path& path, const WriterFormat& format, const std::vector<float>& samples) {
    auto writer = RecordingWriter::create(path, format);
    ASSERT_TRUE(writer.has_value()) << writer.error().text;
    ASSERT_TRUE(writer->write(samples).has_value());
    ASSERT_TRUE(writer->finish().has_value());
}

std::vector<float> floats(const std::vector<double>& samples) {
    return {samples.begin(), samples.end()};
}

TEST(RecordingWriter, Every24BitValueComesBackAsItWas) {
    const Folder folder;
    std::vector<float> samples;
    std::vector<int> expected;
    for (int value = -8388608; value <= 8388607; value += 997) {
        expected.push_back(value);
        samples.push_back(static_cast<float>(value) / 8388608.0F);
    }
    expected.push_back(8388607);
    samples.push_back(8388607.0F / 8388608.0F);
    write(folder / "a.wav", {.channels = 1, .bits = 24}, samples);
    EXPECT_EQ(integers_in(folder / "a.wav", 24), expected);
    auto reader = RecordingReader::open(open_recording(folder / "a.wav").value());
    EXPECT_EQ(reader->read(std::array{1}, 0, 1 << 20)->front(), samples);
}

TEST(RecordingWriter, OverRangeIsHeldAtFullScale) {
    const Folder folder;
    const std::vector<float> samples{1.0F, 1.5F, -1.0F, -1.5F, 100.0F, -1e30F};
    write(folder / "24.wav", {.channels = 2, .bits = 24}, samples);
    EXPECT_EQ(integers_in(folder / "24.wav", 24),
              (std::vector<int>{8388607, 8388607, -8388608, -8388608, 8388607, -8388608}));
    write(folder / "16.wav", {.channels = 2, .bits = 16}, samples);
    EXPECT_EQ(integers_in(folder / "16.wav", 16),
              (std::vector<int>{32767, 32767, -32768, -32768, 32767, -32768}));
}

TEST(RecordingWriter, FloatIsWrittenAsItIsAndTwiceTheSame) {
    const Folder folder;
    const auto samples = floats(noise(30000, 0.7));
    write(folder / "a.wav", {.channels = 2, .bits = 32}, samples);
    write(folder / "b.wav", {.channels = 2, .bits = 32}, samples);
    EXPECT_EQ(bytes_of(folder / "a.wav"), bytes_of(folder / "b.wav"));
    EXPECT_EQ(bytes_of(folder / "a.wav").find("PEAK"), std::string::npos);
    const auto recording = open_recording(folder / "a.wav");
    ASSERT_TRUE(recording.has_value());
    EXPECT_EQ(recording->format, "wav float-32");
    auto reader = RecordingReader::open(*recording);
    const auto got = reader->read(std::array{1, 2}, 0, 15000);
    for (std::size_t n = 0; n < 15000; ++n) {
        ASSERT_EQ((*got)[0][n], samples[2 * n]);
        ASSERT_EQ((*got)[1][n], samples[2 * n + 1]);
    }
}

// A short file is plain RIFF, which every player knows, and its header says what it holds.
TEST(RecordingWriter, AShortFileIsPlainWav) {
    const Folder folder;
    write(folder / "a.wav", {.rate_hz = 44100.0, .channels = 2, .bits = 24}, std::vector<float>(2000));
    const std::string bytes = bytes_of(folder / "a.wav");
    EXPECT_EQ(bytes.substr(0, 4), "RIFF");
    EXPECT_EQ(bytes.size() - bytes.find("data") - 8, 6000U);
    const auto recording = open_recording(folder / "a.wav");
    ASSERT_TRUE(recording.has_value());
    EXPECT_EQ(recording->rate_hz, 44100.0);
    EXPECT_EQ(recording->frames, 1000);
    EXPECT_TRUE(recording->flags.empty());
}

TEST(RecordingWriter, TheNameAppearsOnlyWhenTheFileIsWhole) {
    const Folder folder;
    {
        auto writer = RecordingWriter::create(folder / "a.wav", 48000.0, 1, 24);
        ASSERT_TRUE(writer.has_value());
        ASSERT_TRUE(writer->write(std::vector<float>(100)).has_value());
        EXPECT_FALSE(std::filesystem::exists(folder / "a.wav"));
        RecordingWriter moved = std::move(*writer);
        ASSERT_TRUE(moved.write(std::vector<float>(100)).has_value());
    }
    EXPECT_TRUE(std::filesystem::is_empty(folder.path())) << "nothing is left without finish";
    write(folder / "a.wav", {.channels = 1}, std::vector<float>(10));
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder.path()), {}), 1);
}

TEST(RecordingWriter, WhatCannotBeWrittenIsSaid) {
    const Folder folder;
    EXPECT_EQ(RecordingWriter::create(folder / "no/such/a.wav", 48000.0, 1, 24).error().kind,
              FaultKind::bad_arguments);
    EXPECT_FALSE(RecordingWriter::create(folder / "a.wav", 48000.0, 1, 20).has_value());
    EXPECT_FALSE(RecordingWriter::create(folder / "a.wav", 48000.0, 33, 24).has_value());
    auto writer = RecordingWriter::create(folder / "a.wav", 48000.0, 2, 24);
    EXPECT_FALSE(writer->write(std::vector<float>(3)).has_value()) << "half a frame";
    EXPECT_FALSE(writer->write(std::vector<float>(2, std::numeric_limits<float>::quiet_NaN())).has_value());
    ASSERT_TRUE(writer->finish().has_value());
    EXPECT_FALSE(writer->finish().has_value());
    EXPECT_FALSE(writer->write(std::vector<float>(2)).has_value());
}

// With triangular dither of two last places the mean error is zero and its variance a quarter of a last
// place squared, whatever the signal: Lipshitz, Wannamaker, Vanderkooy, "Quantization and Dither: A
// Theoretical Survey", J. Audio Eng. Soc. 40 (1992).
TEST(RecordingWriter, DitherFreesTheErrorFromTheSignal) {
    constexpr std::size_t count = 400000;
    for (const double places : {0.0, 0.25, 0.5, 0.9}) {
        const Folder folder;
        write(folder / "a.wav", {.channels = 1, .bits = 16, .dither_seed = 5},
              std::vector<float>(count, static_cast<float>(places / 32768.0)));
        double sum = 0.0;
        double squares = 0.0;
        for (const int value : integers_in(folder / "a.wav", 16)) {
            sum += value - places;
            squares += (value - places) * (value - places);
        }
        const double n = static_cast<double>(count);
        // Five standard deviations: 0.5 / sqrt(n) of the mean; of the variance, with a fourth moment of at
        // most 0.25, sqrt(0.19 / n).
        EXPECT_NEAR(sum / n, 0.0, 5.0 * 0.5 / std::sqrt(n)) << places;
        EXPECT_NEAR(squares / n, 0.25, 5.0 * std::sqrt(0.19 / n)) << places;
    }
}

TEST(RecordingWriter, DitherIsTheSameForTheSameSeed) {
    const Folder folder;
    const auto samples = floats(noise(5000, 0.01));
    write(folder / "a.wav", {.channels = 1, .bits = 16, .dither_seed = 5}, samples);
    write(folder / "b.wav", {.channels = 1, .bits = 16, .dither_seed = 5}, samples);
    write(folder / "c.wav", {.channels = 1, .bits = 16, .dither_seed = 6}, samples);
    write(folder / "d.wav", {.channels = 1, .bits = 16}, samples);
    EXPECT_EQ(bytes_of(folder / "a.wav"), bytes_of(folder / "b.wav"));
    EXPECT_NE(bytes_of(folder / "a.wav"), bytes_of(folder / "c.wav"));
    EXPECT_NE(bytes_of(folder / "a.wav"), bytes_of(folder / "d.wav"));
}

}  // namespace
}  // namespace assay::capture
