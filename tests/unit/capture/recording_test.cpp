#include "capture/recording.h"

#include <gmock/gmock.h>

#include <array>
#include <cmath>
#include <limits>

#include "unit/capture/sound_files.h"

namespace assay::capture {
namespace {

using helpers::bytes_of;
using helpers::Folder;
using helpers::noise;
using helpers::write_bytes;
using helpers::write_file;
using testing::HasSubstr;

std::string little_endian(std::uint64_t value, int bytes) {
    std::string text;
    for (int i = 0; i < bytes; ++i) text += static_cast<char>(value >> (8 * i) & 0xFFU);
    return text;
}

// A WAV file written down by hand from the RIFF chunk layout: nobody's library takes part.
std::string wav_by_hand(std::uint32_t data_size, const std::string& data, std::uint32_t bits = 16) {
    const std::uint32_t frame = bits / 8;
    return "RIFF" + little_endian(36 + data_size, 4) + "WAVEfmt " + little_endian(16, 4) +
           little_endian(1, 2) + little_endian(1, 2) + little_endian(48000, 4) +
           little_endian(48000 * frame, 4) + little_endian(frame, 2) + little_endian(bits, 2) + "data" +
           little_endian(data_size, 4) + data;
}

Fault fault_of(const std::filesystem::path& path) {
    const auto recording = open_recording(path);
    EXPECT_FALSE(recording.has_value()) << path;
    return recording ? Fault{} : recording.error();
}

std::vector<float> read_all(const std::filesystem::path& path, int channel = 1) {
    const auto recording = open_recording(path);
    EXPECT_TRUE(recording.has_value()) << (recording ? "" : recording.error().text);
    if (!recording) return {};
    auto reader = RecordingReader::open(*recording);
    EXPECT_TRUE(reader.has_value());
    auto samples = reader->read(std::array{channel}, 0, recording->frames);
    EXPECT_TRUE(samples.has_value()) << (samples ? "" : samples.error().text);
    return samples ? samples->front() : std::vector<float>{};
}

TEST(Recording, ReadsAFileWrittenDownByHand) {
    const Folder folder;
    write_bytes(folder / "a.wav", wav_by_hand(8, little_endian(0x0000, 2) + little_endian(0x7FFF, 2) +
                                                     little_endian(0x8000, 2) + little_endian(0xFFFF, 2)));
    const auto recording = open_recording(folder / "a.wav");
    ASSERT_TRUE(recording.has_value());
    EXPECT_EQ(recording->format, "wav pcm-16");
    EXPECT_EQ(recording->rate_hz, 48000.0);
    EXPECT_EQ(recording->frames, 4);
    EXPECT_EQ(recording->bits, 16);
    EXPECT_TRUE(recording->flags.empty());
    EXPECT_EQ(read_all(folder / "a.wav"),
              (std::vector<float>{0.0F, 32767.0F / 32768.0F, -1.0F, -1.0F / 32768.0F}));
}

TEST(Recording, TwentyBitsInTheUpperPartOfThreeBytes) {
    const Folder folder;
    std::string file = wav_by_hand(6, little_endian(0x123450, 3) + little_endian(0xFFFFF0, 3), 24);
    file[34] = 20;  // bits of a sample, in a frame of three bytes
    write_bytes(folder / "a.wav", file);
    EXPECT_EQ(read_all(folder / "a.wav"),
              (std::vector<float>{static_cast<float>(0x123450) / 8388608.0F, -16.0F / 8388608.0F}));
}

struct Kind {
    int type;
    std::string name;
    int bits;
    bool floating;
};

TEST(Recording, KnowsEveryFormatAndReadsItsSamples) {
    const std::vector<Kind> kinds{{SF_FORMAT_WAV | SF_FORMAT_PCM_16, "wav pcm-16", 16, false},
                                  {SF_FORMAT_WAV | SF_FORMAT_PCM_24, "wav pcm-24", 24, false},
                                  {SF_FORMAT_WAVEX | SF_FORMAT_PCM_32, "wav pcm-32", 32, false},
                                  {SF_FORMAT_WAV | SF_FORMAT_FLOAT, "wav float-32", 32, true},
                                  {SF_FORMAT_WAV | SF_FORMAT_DOUBLE, "wav float-64", 64, true},
                                  {SF_FORMAT_RF64 | SF_FORMAT_PCM_24, "rf64 pcm-24", 24, false},
                                  {SF_FORMAT_FLAC | SF_FORMAT_PCM_16, "flac pcm-16", 16, false},
                                  {SF_FORMAT_FLAC | SF_FORMAT_PCM_24, "flac pcm-24", 24, false},
                                  {SF_FORMAT_AIFF | SF_FORMAT_PCM_24, "aiff pcm-24", 24, false},
                                  {SF_FORMAT_W64 | SF_FORMAT_PCM_24, "w64 pcm-24", 24, false}};
    const auto samples = noise(3 * 5000, 0.2);
    for (const Kind& kind : kinds) {
        const Folder folder;
        write_file(folder / "a", {.type = kind.type, .rate_hz = 192000, .channels = 3}, samples);
        const auto recording = open_recording(folder / "a");
        ASSERT_TRUE(recording.has_value()) << kind.name << ": " << recording.error().text;
        EXPECT_EQ(recording->format, kind.name);
        EXPECT_EQ(recording->bits, kind.bits);
        EXPECT_EQ(recording->floating, kind.floating);
        EXPECT_EQ(recording->channels, 3);
        EXPECT_EQ(recording->frames, 5000);
        EXPECT_EQ(recording->rate_hz, 192000.0);
        const auto second = read_all(folder / "a", 2);
        ASSERT_EQ(second.size(), 5000U);
        // Half a last place of the format, or of a float of this size.
        const double tolerance = kind.bits == 16 ? 1.01 / 32768 : 1.01 / 8388608;
        for (std::size_t n = 0; n < second.size(); ++n) {
            ASSERT_NEAR(static_cast<double>(second[n]), samples[3 * n + 1], tolerance)
                << kind.name << " " << n;
        }
    }
}

TEST(Recording, SpansOfAFlacFileAreThoseOfTheWhole) {
    const Folder folder;
    write_file(folder / "a.flac",
               {.type = SF_FORMAT_FLAC | SF_FORMAT_PCM_24, .rate_hz = 96000, .channels = 2},
               noise(2 * 100000, 0.1));
    const auto recording = open_recording(folder / "a.flac");
    ASSERT_TRUE(recording.has_value());
    const auto whole = read_all(folder / "a.flac", 2);
    auto reader = RecordingReader::open(*recording);
    ASSERT_TRUE(reader.has_value());
    std::mt19937 engine(7);
    for (int trial = 0; trial < 200; ++trial) {
        const auto first = static_cast<std::int64_t>(engine() % 100000);
        const auto count = static_cast<std::int64_t>(engine() % 9000);
        const auto got = reader->read(std::array{2}, first, count);
        ASSERT_TRUE(got.has_value()) << got.error().text;
        const auto end = std::min<std::int64_t>(first + count, 100000);
        ASSERT_EQ(got->front(), std::vector<float>(whole.begin() + first, whole.begin() + end)) << first;
    }
}

TEST(Recording, SpansAreClampedToWhatIsThere) {
    const Folder folder;
    write_file(folder / "a.wav", {.channels = 2}, noise(2000, 0.1));
    auto reader = RecordingReader::open(open_recording(folder / "a.wav").value());
    ASSERT_TRUE(reader.has_value());
    const auto size = [&](std::int64_t first, std::int64_t count) {
        return reader->read(std::array{1, 2}, first, count).value().back().size();
    };
    EXPECT_EQ(size(0, 1000), 1000U);
    EXPECT_EQ(size(-100, 300), 200U);
    EXPECT_EQ(size(-100, 1050), 950U);
    EXPECT_EQ(size(900, 500), 100U);
    EXPECT_EQ(size(5000, 10), 0U);
    EXPECT_EQ(size(10, -5), 0U);
    EXPECT_EQ(size(0, std::numeric_limits<std::int64_t>::max()), 1000U);
}

TEST(Recording, AMissingChannelIsNamed) {
    const Folder folder;
    write_file(folder / "a.wav", {.channels = 2}, noise(2000, 0.1));
    auto reader = RecordingReader::open(open_recording(folder / "a.wav").value());
    const auto got = reader->read(std::array{1, 3}, 0, 10);
    ASSERT_FALSE(got.has_value());
    EXPECT_EQ(got.error().kind, FaultKind::untrusted_capture);
    EXPECT_THAT(got.error().text, HasSubstr("has 2 channel(s), channel 3 is asked for"));
}

TEST(Recording, WhatIsNoSoundIsRefused) {
    const Folder folder;
    write_bytes(folder / "empty.wav", "");
    write_bytes(folder / "text.wav", "This is no sound at all, only some words that somebody wrote.");
    write_bytes(folder / "bare.wav", wav_by_hand(0, "").substr(0, 36));
    write_bytes(folder / "silent.wav", wav_by_hand(0, ""));
    for (const auto& [name, text] :
         std::vector<std::pair<std::string, std::string>>{{"nowhere.wav", "is not there"},
                                                          {"", "is a folder"},
                                                          {"empty.wav", "is empty (0 bytes)"},
                                                          {"text.wav", "cannot be read as sound"},
                                                          {"bare.wav", "no data chunk"},
                                                          {"silent.wav", "holds no samples"}}) {
        const Fault fault = fault_of(folder / name);
        EXPECT_EQ(fault.kind, FaultKind::untrusted_capture) << name;
        EXPECT_THAT(fault.text, HasSubstr(text));
        EXPECT_THAT(fault.text, HasSubstr((folder / name).string()));
        EXPECT_FALSE(fault.mend.empty()) << name;
    }
}

TEST(Recording, FormatsThatLoseAndRatesOutsideAreRefused) {
    const Folder folder;
    const auto samples = noise(4800, 0.1);
    write_file(folder / "8.wav", {.type = SF_FORMAT_WAV | SF_FORMAT_PCM_U8}, samples);
    write_file(folder / "u.wav", {.type = SF_FORMAT_WAV | SF_FORMAT_ULAW}, samples);
    write_file(folder / "v.ogg", {.type = SF_FORMAT_OGG | SF_FORMAT_VORBIS}, samples);
    write_file(folder / "slow.wav", {.rate_hz = 32000}, samples);
    write_file(folder / "fast.wav", {.rate_hz = 384000}, samples);
    write_file(folder / "many.wav", {.channels = 40}, samples);
    for (const std::string name : {"8.wav", "u.wav", "v.ogg"}) {
        EXPECT_THAT(fault_of(folder / name).text, HasSubstr("loses what is to be measured")) << name;
    }
    EXPECT_THAT(fault_of(folder / "slow.wav").text, HasSubstr("32000 Hz is outside"));
    EXPECT_THAT(fault_of(folder / "fast.wav").text, HasSubstr("384000 Hz is outside"));
    EXPECT_THAT(fault_of(folder / "many.wav").text, HasSubstr("40 channels; 1 to 32"));
}

TEST(Recording, ACutFileIsRefusedWithBothLengths) {
    const Folder folder;
    for (const int type : {SF_FORMAT_WAV, SF_FORMAT_RF64}) {
        write_file(folder / "a", {.type = type | SF_FORMAT_PCM_16}, noise(48000, 0.1));
        const std::string whole = bytes_of(folder / "a");
        write_bytes(folder / "cut", whole.substr(0, whole.size() - 24000));
        EXPECT_THAT(fault_of(folder / "cut").text,
                    HasSubstr("cut short: the header says 1.000 s, the file holds 0.750 s"));
    }
    write_file(folder / "a.flac", {.type = SF_FORMAT_FLAC | SF_FORMAT_PCM_24}, noise(48000, 0.1));
    const std::string flac = bytes_of(folder / "a.flac");
    write_bytes(folder / "cut.flac", flac.substr(0, flac.size() * 3 / 4));
    EXPECT_THAT(fault_of(folder / "cut.flac").text,
                HasSubstr("cut short or damaged: the header says 1.000 s"));
}

TEST(Recording, ADamagedFlacFileSaysWhere) {
    const Folder folder;
    write_file(folder / "a.flac", {.type = SF_FORMAT_FLAC | SF_FORMAT_PCM_16}, noise(96000, 0.1));
    std::string bytes = bytes_of(folder / "a.flac");
    bytes[bytes.size() / 2] = static_cast<char>(~bytes[bytes.size() / 2]);
    write_bytes(folder / "b.flac", bytes);
    const auto recording = open_recording(folder / "b.flac");
    ASSERT_TRUE(recording.has_value());
    auto reader = RecordingReader::open(*recording);
    const auto got = reader->read(std::array{1}, 0, 96000);
    ASSERT_FALSE(got.has_value());
    EXPECT_THAT(got.error().text, HasSubstr("damaged or cut short from here"));
    // White noise packs evenly, so the middle byte lies near the middle in time; a frame is 4096 samples.
    EXPECT_NEAR(got.error().at_s.value(), 1.0, 2 * 4096 / 48000.0);
}

TEST(Recording, AFlacFileWithoutItsLengthIsRefused) {
    const Folder folder;
    write_file(folder / "a.flac", {.type = SF_FORMAT_FLAC | SF_FORMAT_PCM_16}, noise(9600, 0.1));
    std::string bytes = bytes_of(folder / "a.flac");
    // The 36 bits of the number of samples end the byte 21 and fill the next four (RFC 9639, 8.2).
    bytes[21] = static_cast<char>(bytes[21] & 0xF0);
    bytes.replace(22, 4, 4, '\0');
    write_bytes(folder / "a.flac", bytes);
    EXPECT_THAT(fault_of(folder / "a.flac").text, HasSubstr("its header does not say how long it is"));
}

TEST(Recording, AKilledRecorderIsSaid) {
    const Folder folder;
    const std::string samples(96000, '\1');
    for (const std::uint32_t size : {0xFFFFFFFFU, 0x7FFFFFFFU, 0x7FFFF000U}) {
        write_bytes(folder / "a.wav", wav_by_hand(size, samples));
        const auto recording = open_recording(folder / "a.wav");
        ASSERT_TRUE(recording.has_value()) << recording.error().text;
        EXPECT_EQ(recording->frames, 48000);
        ASSERT_EQ(recording->flags.size(), 1U);
        EXPECT_THAT(recording->flags[0], HasSubstr("killed recorder"));
    }
    write_bytes(folder / "zero.wav", wav_by_hand(0, samples));
    EXPECT_THAT(fault_of(folder / "zero.wav").text,
                HasSubstr("the header says 0 s though the file holds 1.000 s"));
}

TEST(Recording, ALengthThatWentRoundAt4GibIsSeen) {
    const Folder folder;
    write_bytes(folder / "a.wav", wav_by_hand(96000, std::string(96000, '\1')));
    // A sparse file: it takes no room on the disk.
    std::filesystem::resize_file(folder / "a.wav", 44 + 96000 + (std::uintmax_t{1} << 32U));
    EXPECT_THAT(fault_of(folder / "a.wav").text, HasSubstr("grew past 4 GiB"));
}

TEST(Recording, ASampleThatIsNoNumberIsAFaultWithItsSecond) {
    for (const double bad :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        const Folder folder;
        auto samples = noise(2 * 96000, 0.1);
        samples[2 * 72000 + 1] = bad;
        write_file(folder / "a.wav", {.type = SF_FORMAT_WAV | SF_FORMAT_FLOAT, .channels = 2}, samples);
        auto reader = RecordingReader::open(open_recording(folder / "a.wav").value());
        EXPECT_TRUE(reader->read(std::array{1}, 0, 96000).has_value());
        const auto got = reader->read(std::array{1, 2}, 0, 96000);
        ASSERT_FALSE(got.has_value());
        EXPECT_EQ(got.error().at_s, 1.5);
        EXPECT_THAT(got.error().text, HasSubstr("at 1.500 s: channel 2 holds a sample that is not a number"));
        EXPECT_TRUE(reader->read(std::array{2}, 0, 72000).has_value()) << "the reader goes on after a fault";
    }
}

}  // namespace
}  // namespace assay::capture
