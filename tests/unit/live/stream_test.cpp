// What happens in a sound card's callback, and what a running capture is watched for. Expectations are
// written out by hand from the definitions in the headers.
#include <gtest/gtest.h>

#include <cmath>
#include <thread>

#include "capture/device/block_watch.h"
#include "capture/device/ring.h"
#include "capture/device/stream_side.h"

namespace assay::capture {
namespace {

TEST(SampleRing, TakesAllOrNothingAndKeepsTheOrder) {
    SampleRing ring(5);
    const std::vector<float> three{1, 2, 3};
    EXPECT_TRUE(ring.write(three));
    EXPECT_FALSE(ring.write(three));
    std::vector<float> out(2);
    EXPECT_TRUE(ring.read(out));
    EXPECT_EQ(out, (std::vector<float>{1, 2}));
    EXPECT_TRUE(ring.write(three));  // over the end of the memory
    out.resize(4);
    EXPECT_TRUE(ring.read(out));
    EXPECT_EQ(out, (std::vector<float>{3, 1, 2, 3}));
    EXPECT_FALSE(ring.read(out));
}

TEST(SampleRing, TwoThreadsLoseNothing) {
    SampleRing ring(1000);
    constexpr int count = 50000;
    std::thread writer([&] {
        for (int n = 0; n < count;) {
            const float value = static_cast<float>(n);
            if (ring.write(std::span(&value, 1)))
                ++n;
            else
                std::this_thread::yield();
        }
    });
    int wrong = 0;
    for (int n = 0; n < count;) {
        float value = -1.0F;
        if (!ring.read(std::span(&value, 1))) {
            std::this_thread::yield();
            continue;
        }
        if (value != static_cast<float>(n)) ++wrong;
        ++n;
    }
    writer.join();
    EXPECT_EQ(wrong, 0);
}

TEST(PlaySide, FadesToSilenceWithoutAJump) {
    constexpr double fade_frames = 960;
    PlaySideOfStream side(1, 2, 10000, fade_frames);
    const std::vector<float> ones(4000, 1.0F);
    ASSERT_TRUE(side.ring().write(ones));
    std::vector<float> out(2 * 512);
    side.fill(out.data(), 512);
    EXPECT_EQ(out[1022], 1.0F);
    EXPECT_EQ(out[1023], 0.0F);  // the device's second channel
    side.fade_out();
    float last = 1.0F;
    float steepest = 0.0F;
    for (int block = 0; block < 3; ++block) {
        side.fill(out.data(), 512);
        for (std::size_t n = 0; n < 512; ++n) {
            steepest = std::max(steepest, std::abs(out[2 * n] - last));
            last = out[2 * n];
        }
    }
    EXPECT_EQ(last, 0.0F);
    EXPECT_TRUE(side.faded());
    // The steepest place of a raised cosine over 960 frames is pi / 2 / 960.
    EXPECT_NEAR(steepest, 1.5707963 / fade_frames, 1e-5);
    EXPECT_EQ(side.starved(), 0);
}

TEST(PlaySide, AnEmptyRingIsAFaultBeforeTheToneEndsAndNoneAfter) {
    PlaySideOfStream side(1, 1, 1000, 100);
    std::vector<float> out(100);
    side.fill(out.data(), 100);
    EXPECT_EQ(side.starved(), 0);  // nothing was ever to be played
    ASSERT_TRUE(side.ring().write(std::vector<float>(150, 0.5F)));
    side.fill(out.data(), 100);
    side.fill(out.data(), 100);
    EXPECT_EQ(side.starved(), 50);
    side.end_of_tone();
    side.fill(out.data(), 100);
    EXPECT_EQ(side.starved(), 50);
    EXPECT_EQ(side.played(), 400);
}

TEST(RecordSide, PicksChannelsAndCountsWhatDoesNotFit) {
    RecordSideOfStream side(1, 2, 150, 64);
    std::vector<float> in;
    for (int n = 0; n < 100; ++n) {
        in.push_back(static_cast<float>(n));
        in.push_back(-1.0F);
    }
    side.take(in.data(), 100, 0.0);
    std::vector<float> out(100);
    ASSERT_TRUE(side.ring().read(out));
    EXPECT_EQ(out[99], 99.0F);
    side.take(in.data(), 100, 0.1);
    side.take(in.data(), 100, 0.2);
    EXPECT_EQ(side.recorded(), 300);
    EXPECT_EQ(side.lost(),
              64);  // the ring holds 150: of the third block's parts of 64 and 36 only the second fits
}

TEST(RecordSide, KnowsARateThatIsNotTheOneAskedFor) {
    std::vector<float> in(480, 0.1F);
    RecordSideOfStream right(1, 1, 1000, 480);
    RecordSideOfStream slow(1, 1, 1000, 480);
    RecordSideOfStream stalling(1, 1, 1000, 480);
    double late = 0.0;
    for (int block = 0; block < 300; ++block) {
        right.take(in.data(), 480, block * 0.01);
        slow.take(in.data(), 480, block * 480 / 44100.0);
        if (block % 120 == 60) late += 0.3;
        stalling.take(in.data(), 480, block * 0.01 + late);
    }
    EXPECT_NEAR(right.rate_hz(), 48000.0, 1.0);
    EXPECT_FALSE(right.runs_at_another(48000.0));
    EXPECT_NEAR(slow.rate_hz(), 44100.0, 1.0);
    EXPECT_TRUE(slow.runs_at_another(48000.0));
    EXPECT_LT(stalling.rate_hz(), 0.95 * 48000.0);
    EXPECT_FALSE(stalling.runs_at_another(48000.0));
}

TEST(RecordSide, ABusyMachineIsNoOtherRate) {
    // A server that waits for its clients on a machine with too much to do: every half second is slow, none
    // as slow as the next. A card at 44.1 kHz whose blocks come up to 3 ms late beside it.
    std::vector<float> in(480, 0.1F);
    RecordSideOfStream busy(1, 1, 1000, 480);
    RecordSideOfStream slow(1, 1, 1000, 480);
    double now_s = 0.0;
    const std::array busy_rates{42821.0, 45920.0, 43637.0, 46500.0, 41200.0, 44700.0};
    for (int block = 0; block < 300; ++block) {
        busy.take(in.data(), 480, now_s);
        now_s += 480.0 / busy_rates[static_cast<std::size_t>(block / 50) % busy_rates.size()];
        slow.take(in.data(), 480, block * 480 / 44100.0 + 0.001 * (block * 7 % 4));
    }
    EXPECT_NEAR(busy.rate_hz(), 44000.0, 500.0);
    EXPECT_FALSE(busy.runs_at_another(48000.0));
    EXPECT_TRUE(slow.runs_at_another(48000.0));
}

TEST(BlockWatch, FindsOverloadZerosAndSixteenBits) {
    BlockWatch watch(2, 1000.0);
    std::vector<float> block(2 * 500, 0.0F);
    watch.look_at(block);
    EXPECT_DOUBLE_EQ(watch.zeros_s(), 0.5);
    block[2 * 100 + 1] = 1.0F;  // a single sample is no overload
    watch.look_at(block);
    EXPECT_FALSE(watch.overload());
    EXPECT_NEAR(watch.zeros_s(), 0.399, 1e-9);
    block[2 * 101 + 1] = -1.0F;
    watch.look_at(block);
    ASSERT_TRUE(watch.overload());
    EXPECT_EQ(watch.overload()->channel, 2);
    EXPECT_NEAR(watch.overload()->at_s, 1.101, 1e-9);

    BlockWatch sixteen(1, 48000.0);
    BlockWatch twenty_four(1, 48000.0);
    std::vector<float> coarse;
    std::vector<float> fine;
    for (int n = 0; n < 20000; ++n) {
        const double value = 0.5 * std::sin(0.1 * n);
        coarse.push_back(static_cast<float>(std::round(value * 0x1p15) * 0x1p-15));
        fine.push_back(static_cast<float>(std::round(value * 0x1p23) * 0x1p-23));
    }
    sixteen.look_at(coarse);
    twenty_four.look_at(fine);
    EXPECT_TRUE(sixteen.only_16_bits());
    EXPECT_FALSE(twenty_four.only_16_bits());
}

}  // namespace
}  // namespace assay::capture
