#include "capture/raw_checks.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "unit/capture/sound_files.h"

// Every signal here is put together from known pieces, so that each answer is known to the sample.
namespace assay::capture {
namespace {

using helpers::Folder;
using helpers::noise;
using helpers::sine;
using helpers::write_file;
using helpers::operator+;

constexpr double written_rate_hz = 96000.0;
constexpr double frame_s = 1.0 / written_rate_hz;
constexpr int wav_24 = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
constexpr int wav_16 = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
constexpr int wav_float = SF_FORMAT_WAV | SF_FORMAT_FLOAT;

RawChecks check(const std::vector<double>& samples, int type = wav_24, int channels = 1,
                int file_rate_hz = 96000) {
    const Folder folder;
    write_file(folder / "a.wav", {.type = type, .rate_hz = file_rate_hz, .channels = channels}, samples);
    std::vector<int> all;
    for (int channel = 1; channel <= channels; ++channel) all.push_back(channel);
    auto checks = check_raw(open_recording(folder / "a.wav").value(), all);
    EXPECT_TRUE(checks.has_value()) << (checks ? "" : checks.error().text);
    return checks.value_or(RawChecks{});
}

RawChannel check_one(const std::vector<double>& samples, int type = wav_24, int file_rate_hz = 96000) {
    return check(samples, type, 1, file_rate_hz).channels.at(0);
}

std::vector<double> noisy_tone(std::size_t count, double amplitude = 0.5, double noise_sigma = 1e-5) {
    return sine(count, 1000.0, written_rate_hz, amplitude) + noise(count, noise_sigma);
}

void fill(std::vector<double>& samples, std::size_t from, std::size_t to, double value) {
    std::fill(samples.begin() + static_cast<std::ptrdiff_t>(from),
              samples.begin() + static_cast<std::ptrdiff_t>(to), value);
}

// Plays frames [from, from + length) once more in the place of what follows them.
void repeat_block(std::vector<double>& samples, std::size_t from, std::size_t length, std::size_t times = 1) {
    for (std::size_t n = 0; n < times * length; ++n) samples[from + length + n] = samples[from + n % length];
}

TEST(RawChecks, AGoodRecordingGivesNoFinding) {
    const RawChecks checks = check(noisy_tone(2 * 200000), wav_24, 2);
    EXPECT_EQ(checks.frames_read, 200000);
    EXPECT_TRUE(checks.identical.empty());
    for (const RawChannel& channel : checks.channels) {
        EXPECT_FALSE(channel.silent);
        EXPECT_FALSE(channel.only_16_bits);
        EXPECT_TRUE(channel.listed_whole);
        EXPECT_TRUE(channel.zeros_inside.empty());
        EXPECT_TRUE(channel.full_scale_positive.empty());
        EXPECT_TRUE(channel.full_scale_negative.empty());
        EXPECT_TRUE(channel.held.empty());
        EXPECT_TRUE(channel.repeated.empty());
        EXPECT_EQ(channel.leading_zeros_s, 0.0);
        EXPECT_EQ(channel.trailing_zeros_s, 0.0);
        EXPECT_EQ(channel.samples_above_full_scale, 0);
    }
}

TEST(RawChecks, PeakItsPlaceAndDc) {
    std::vector<double> samples = sine(96000, 1000.0, written_rate_hz, 0.25);  // whole cycles: mean zero
    for (double& sample : samples) sample += 0.125;
    samples[70001] = -0.75;
    const RawChannel found = check_one(samples);
    EXPECT_FLOAT_EQ(found.peak, 0.75F);
    EXPECT_EQ(found.peak_at_s, 70001 * frame_s);
    // The one sample that was changed moves the mean by its change over the count.
    const double moved =
        (-0.75 - (0.125 + 0.25 * std::sin(2 * M_PI * 1000.0 * 70001 / written_rate_hz))) / 96000;
    EXPECT_NEAR(found.dc, 0.125 + moved, 0.5 / 8388608);
}

TEST(RawChecks, ZerosInsideAreToldFromThoseAtTheEnds) {
    auto samples = noisy_tone(200000, 0.5, 1e-3);
    fill(samples, 0, 4800, 0.0);
    fill(samples, 100000, 100960, 0.0);  // 10 ms
    fill(samples, 150000, 150090, 0.0);  // shorter than 1 ms: may happen
    fill(samples, 190400, 200000, 0.0);
    samples[4800] = samples[99999] = samples[100960] = samples[190399] = 0.1;
    const RawChannel found = check_one(samples);
    ASSERT_EQ(found.zeros_inside.size(), 1U);
    EXPECT_DOUBLE_EQ(found.zeros_inside[0].from_s, 100000 * frame_s);
    EXPECT_DOUBLE_EQ(found.zeros_inside[0].to_s, 100960 * frame_s);
    EXPECT_DOUBLE_EQ(found.leading_zeros_s, 0.05);
    EXPECT_DOUBLE_EQ(found.trailing_zeros_s, 0.1);
    EXPECT_FALSE(found.silent);
    EXPECT_TRUE(found.held.empty());
    EXPECT_TRUE(found.repeated.empty());
}

TEST(RawChecks, AllZerosIsSilence) {
    const RawChecks checks = check(std::vector<double>(2 * 96000), wav_24, 2);
    EXPECT_TRUE(checks.channels[0].silent);
    EXPECT_DOUBLE_EQ(checks.channels[0].leading_zeros_s, 1.0);
    EXPECT_DOUBLE_EQ(checks.channels[0].trailing_zeros_s, 1.0);
    EXPECT_TRUE(checks.channels[0].zeros_inside.empty());
    EXPECT_FALSE(checks.channels[0].only_16_bits);
    EXPECT_TRUE(checks.identical.empty()) << "two silent inputs are no mono recorder";
}

// Runs of every length around the limit, at every place in the chunks that the search jumps by.
TEST(RawChecks, ZerosAreFoundWhereverTheyBegin) {
    for (std::size_t shift = 0; shift < 40; ++shift) {
        auto samples = noisy_tone(70000, 0.5, 1e-3);
        std::vector<Interval> expected;
        for (std::size_t length = 90; length <= 102; ++length) {
            const std::size_t from = 32768 - 700 + length * 131 + shift - 90 * 131;
            fill(samples, from, from + length, 0.0);
            samples[from - 1] = samples[from + length] = 0.2;
            if (length >= 96)
                expected.push_back(
                    {static_cast<double>(from) * frame_s, static_cast<double>(from + length) * frame_s});
        }
        const RawChannel found = check_one(samples);
        ASSERT_EQ(found.zeros_inside.size(), expected.size()) << shift;
        for (std::size_t i = 0; i < expected.size(); ++i) {
            EXPECT_DOUBLE_EQ(found.zeros_inside[i].from_s, expected[i].from_s);
            EXPECT_DOUBLE_EQ(found.zeros_inside[i].to_s, expected[i].to_s);
        }
    }
}

TEST(RawChecks, FullScaleRunsAreMergedForEachPolarity) {
    auto samples = noisy_tone(300000, 0.3);
    for (std::size_t cycle = 0; cycle < 50; ++cycle)
        fill(samples, 100000 + cycle * 96, 100000 + cycle * 96 + 5, 1.5);
    fill(samples, 200000, 200002, -1.0);
    fill(samples, 250000, 250001, -1.0);    // a lone sample is no run
    fill(samples, 260000, 260010, 0.9998);  // below the mark
    const RawChannel found = check_one(samples);
    ASSERT_EQ(found.full_scale_positive.size(), 1U);
    EXPECT_DOUBLE_EQ(found.full_scale_positive[0].from_s, 100000 * frame_s);
    EXPECT_DOUBLE_EQ(found.full_scale_positive[0].to_s, (100000 + 49 * 96 + 5) * frame_s);
    EXPECT_EQ(found.full_scale_positive[0].samples, 250);
    ASSERT_EQ(found.full_scale_negative.size(), 1U);
    EXPECT_DOUBLE_EQ(found.full_scale_negative[0].from_s, 200000 * frame_s);
    EXPECT_DOUBLE_EQ(found.full_scale_negative[0].to_s, 200002 * frame_s);
    EXPECT_EQ(found.samples_above_full_scale, 0) << "24 bits hold nothing above full scale";
}

TEST(RawChecks, FloatFilesMayGoBeyondFullScale) {
    auto samples = noisy_tone(96000, 0.3);
    fill(samples, 50000, 50007, 1.25);
    fill(samples, 95990, 96000, -1.25);  // up to the end of the file
    samples[60000] = -1.5;
    const RawChannel found = check_one(samples, wav_float);
    EXPECT_EQ(found.samples_above_full_scale, 18);
    ASSERT_EQ(found.full_scale_positive.size(), 1U);
    EXPECT_EQ(found.full_scale_positive[0].samples, 7);
    ASSERT_EQ(found.full_scale_negative.size(), 1U);
    EXPECT_DOUBLE_EQ(found.full_scale_negative[0].to_s, 1.0);
    EXPECT_FLOAT_EQ(found.peak, 1.5F);
}

TEST(RawChecks, AStuckValueIsFoundAndAFlatTopIsNot) {
    auto samples = noisy_tone(200000);
    fill(samples, 40000, 40480, 0.3125);
    const RawChannel stuck = check_one(samples);
    ASSERT_EQ(stuck.held.size(), 1U);
    EXPECT_EQ(stuck.held[0].value, 0.3125F);
    EXPECT_DOUBLE_EQ(stuck.held[0].from_s, 40000 * frame_s);
    EXPECT_DOUBLE_EQ(stuck.held[0].to_s, 40480 * frame_s);
    EXPECT_TRUE(stuck.repeated.empty());

    // 50 Hz clipped hard and without noise stays at its two rails for milliseconds, cycle after cycle.
    auto clipped = sine(200000, 50.0, written_rate_hz, 0.9);
    for (double& sample : clipped) sample = std::clamp(sample, -0.4, 0.5);
    EXPECT_TRUE(check_one(clipped).held.empty());
}

TEST(RawChecks, ARecordingThatFreezesUntilItsEnd) {
    auto samples = noisy_tone(96000);
    fill(samples, 48000, 96000, -0.2);
    const RawChannel found = check_one(samples);
    ASSERT_EQ(found.held.size(), 1U);
    EXPECT_DOUBLE_EQ(found.held[0].from_s, 0.5);
    EXPECT_DOUBLE_EQ(found.held[0].to_s, 1.0);
}

TEST(RawChecks, SixteenBitsInTheDressOf24) {
    auto samples = noisy_tone(96000);
    auto coarse = samples;
    for (double& sample : coarse) sample = std::round(sample * 32768.0) / 32768.0;
    EXPECT_TRUE(check_one(coarse).only_16_bits);
    EXPECT_TRUE(check_one(coarse, wav_float).only_16_bits);
    EXPECT_FALSE(check_one(coarse, wav_16).only_16_bits) << "a 16-bit file says what it is";
    EXPECT_FALSE(check_one(samples).only_16_bits);
    coarse[90000] += 1.0 / 8388608.0;
    EXPECT_FALSE(check_one(coarse).only_16_bits) << "one sample with a lower bit is enough";
}

TEST(RawChecks, AMonoRecorderGivesIdenticalChannels) {
    const auto a = noisy_tone(96000);
    const auto b = noisy_tone(96000, 0.4);
    std::vector<double> samples;
    for (std::size_t n = 0; n < a.size(); ++n) {
        for (const double sample : {a[n], b[n], a[n]}) samples.push_back(sample);
    }
    EXPECT_EQ(check(samples, wav_24, 3).identical, (std::vector<std::pair<int, int>>{{1, 3}}));
    samples[3 * 95999] += 1e-3;
    EXPECT_TRUE(check(samples, wav_24, 3).identical.empty()) << "the last sample differs";
}

struct Doubling {
    double rate_hz;
    double block_s;
    double noise_sigma;
    int type;
};

// Blocks of 1 to 100 ms at many places, across the seams between the reader's blocks too.
TEST(RawChecks, ADoubledBlockIsFoundToTheSample) {
    for (const Doubling& doubling :
         {Doubling{96000.0, 0.001, 1e-5, wav_24}, Doubling{96000.0, 0.010, 1e-5, wav_24},
          Doubling{96000.0, 0.100, 1e-5, wav_24}, Doubling{44100.0, 0.0015, 1e-5, wav_24},
          Doubling{192000.0, 0.020, 1e-6, wav_24}, Doubling{48000.0, 0.010, 2e-5, wav_16},
          Doubling{48000.0, 0.0107, 1e-5, wav_float}}) {
        const auto block = static_cast<std::size_t>(std::lround(doubling.block_s * doubling.rate_hz));
        for (const std::size_t from : {20000UL, 32768UL - block, 32768UL - block / 2, 32768UL, 60001UL}) {
            auto samples = sine(130000, 1000.0, doubling.rate_hz, 0.1) + noise(130000, doubling.noise_sigma);
            repeat_block(samples, from, block);
            const RawChannel found = check_one(samples, doubling.type, static_cast<int>(doubling.rate_hz));
            ASSERT_EQ(found.repeated.size(), 1U)
                << doubling.rate_hz << " Hz, block " << block << " from " << from;
            // Beyond the ends of the copy a sample or two may agree by chance, in 16 bits a few more.
            const double chance_s = (doubling.type == wav_16 ? 12 : 3) / doubling.rate_hz;
            EXPECT_NEAR(found.repeated[0].at_s, static_cast<double>(from + block) / doubling.rate_hz,
                        chance_s);
            EXPECT_DOUBLE_EQ(found.repeated[0].block_s, static_cast<double>(block) / doubling.rate_hz);
            EXPECT_NEAR(found.repeated[0].lasts_s, found.repeated[0].block_s, 2 * chance_s);
        }
    }
}

TEST(RawChecks, SeveralDoubledBlocksAndALoopThatSticks) {
    auto samples = noisy_tone(960000);
    repeat_block(samples, 100000, 480);
    repeat_block(samples, 300000, 1024);
    repeat_block(samples, 500000, 512, 20);
    const RawChannel found = check_one(samples);
    ASSERT_EQ(found.repeated.size(), 3U);
    EXPECT_NEAR(found.repeated[0].at_s, 100480 * frame_s, 3 * frame_s);
    EXPECT_NEAR(found.repeated[1].at_s, 301024 * frame_s, 3 * frame_s);
    EXPECT_NEAR(found.repeated[2].at_s, 500512 * frame_s, 3 * frame_s);
    EXPECT_NEAR(found.repeated[2].lasts_s, 20 * 512 * frame_s, 3 * frame_s);
    EXPECT_DOUBLE_EQ(found.repeated[2].block_s, 512 * frame_s);
}

TEST(RawChecks, EveryBufferDoubledIsStillAFault) {
    auto samples = noisy_tone(960000);
    for (std::size_t from = 0; from + 2048 <= samples.size(); from += 2048) repeat_block(samples, from, 1024);
    EXPECT_GE(check_one(samples).repeated.size(), 960000U / 2048U - 2U);
}

// Without noise a tone may repeat to the bit: 1 kHz every 96 samples, 440 Hz every 2400. That is no fault,
// neither in one piece nor in steps of rising level with pauses between them.
TEST(RawChecks, ATestToneWithoutNoiseIsNoFault) {
    for (const int type : {wav_16, wav_24, wav_float}) {
        for (const double frequency_hz : {20.0, 83.0, 100.0, 440.0, 997.0, 1000.0, 7000.0}) {
            for (const double amplitude : {1e-4, 1e-3, 0.01, 0.1, 0.7}) {
                EXPECT_TRUE(
                    check_one(sine(200000, frequency_hz, written_rate_hz, amplitude), type).repeated.empty())
                    << frequency_hz << " Hz, amplitude " << amplitude << ", type " << type;
            }
            std::vector<double> steps;
            for (int step = 0; step < 20; ++step) {
                const auto tone =
                    sine(19200, frequency_hz, written_rate_hz, std::pow(10.0, (step - 40) / 20.0));
                steps.insert(steps.end(), tone.begin(), tone.end());
                steps.insert(steps.end(), 4800, 0.0);
            }
            EXPECT_TRUE(check_one(steps, type).repeated.empty())
                << frequency_hz << " Hz in steps, type " << type;
        }
    }
}

TEST(RawChecks, QuietNoiseOfAFewLastPlacesIsNoFault) {
    for (const double places : {0.1, 0.3, 0.5, 1.0}) {
        const RawChannel found = check_one(noise(960000, places / 32768.0), wav_16);
        EXPECT_TRUE(found.repeated.empty()) << places;
        EXPECT_TRUE(found.held.empty()) << places;
    }
}

TEST(RawChecks, FaultsOfReadingComeThrough) {
    const Folder folder;
    auto samples = noisy_tone(96000);
    samples[48000] = std::nan("");
    write_file(folder / "a.wav", {.type = wav_float, .rate_hz = 96000}, samples);
    const auto recording = open_recording(folder / "a.wav").value();
    const auto checks = check_raw(recording, std::array{1});
    ASSERT_FALSE(checks.has_value());
    EXPECT_EQ(checks.error().at_s, 0.5);
    EXPECT_FALSE(check_raw(recording, std::array{2}).has_value());
    EXPECT_TRUE(check_raw(recording, std::span<const int>{}).has_value());
}

}  // namespace
}  // namespace assay::capture
