// The callback's two sides allocate nothing: every operator new of this program is counted.
#include <gtest/gtest.h>

#include <cstdlib>
#include <new>
#include <vector>

#include "capture/device/stream_side.h"

namespace {
thread_local int allocations = 0;
}  // namespace

// Not inlined: where only one of a pair is, g++ takes them for a mismatch of new and free.
[[gnu::noinline]] void* operator new(std::size_t bytes) {
    ++allocations;
    if (void* memory = std::malloc(bytes)) return memory;
    throw std::bad_alloc();
}

// The library's stable_sort asks this way and gives back the plain way.
[[gnu::noinline]] void* operator new(std::size_t bytes, const std::nothrow_t&) noexcept {
    ++allocations;
    return std::malloc(bytes);
}

[[gnu::noinline]] void operator delete(void* memory) noexcept {
    std::free(memory);
}

[[gnu::noinline]] void operator delete(void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}

[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}

namespace assay::capture {
namespace {

TEST(Callback, AllocatesNothing) {
    constexpr std::size_t frames = 64;
    PlaySideOfStream play(8, 8, 10000, 100);
    RecordSideOfStream record(8, 8, 10000, 1024);
    std::vector<float> block(8 * frames, 0.25F);
    for (int k = 0; k < 100; ++k) ASSERT_TRUE(play.ring().write(block));
    const int before = allocations;
    { const std::vector<float> counted(10); }
    ASSERT_GT(allocations, before);  // the counter works
    const int start = allocations;
    for (int k = 0; k < 200; ++k) {
        if (k == 60) play.fade_out();
        play.fill(block.data(), frames);
        record.take(block.data(), frames, 0.01 * k);
    }
    EXPECT_EQ(allocations, start);
    EXPECT_GT(record.lost(), 0);  // a full ring does not make it allocate either
}

}  // namespace
}  // namespace assay::capture
